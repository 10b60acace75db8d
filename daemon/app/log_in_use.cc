#include "app/log_in_use.h"

#include <filesystem>
#include <utility>
#include <vector>

#include "app/first_copy.h"
#include "app/open_data.h"
#include "engine/catalog.h"
#include "eventlog/log_key.h"

namespace plumblane {

absl::StatusOr<std::unique_ptr<LogInUse>> LogInUse::Prepare(
    const Settings& settings, const std::function<void()>& still_at_it) {
  auto made = std::unique_ptr<LogInUse>(new LogInUse(settings));
  const ClusterSettings& cluster = settings.cluster;
  if (cluster.etcd.empty()) return made;
  EtcdOptions etcd{.endpoints = cluster.etcd,
                   .ca = cluster.ca,
                   .certificate = cluster.certificate,
                   .key = cluster.key,
                   .prefix = cluster.name,
                   // A member that hangs must not cost the lease: there is time to ask another.
                   .patience = std::chrono::milliseconds(cluster.lease_seconds * 1000 / 3)};
  made->member_.emplace(EtcdMember::Options{.etcd = std::move(etcd),
                                            .node = cluster.node,
                                            .address = cluster.address,
                                            .lease = std::chrono::seconds(cluster.lease_seconds),
                                            .reader = std::chrono::hours(cluster.reader_hours)});
  std::error_code error;
  if (std::filesystem::exists(StorePathOf(settings), error)) return made;
  const auto copies = made->member_->CopiesToBeginWith();
  if (!copies.ok()) return copies.status();
  if (copies->empty()) return made;
  std::vector<std::string> addresses;
  for (const EtcdLog::Copy& copy : *copies) addresses.push_back(copy.address);
  if (absl::Status status = FetchFirstCopy(settings, addresses, still_at_it); !status.ok()) {
    return status;
  }
  return made;
}

absl::Status LogInUse::Open(Store& store, const Anchor& anchor) {
  if (!member_) {
    const auto elsewhere = store.TakeSnapshot()->Get(Space::kMeta, kLogElsewhereKey);
    if (!elsewhere.ok()) return elsewhere.status();
    if (*elsewhere) {
      return absl::DataLossError(
          "the data is of a daemon that shares its log with others, but the settings name no etcd "
          "([cluster] etcd). Nothing was changed");
    }
    in_store_.emplace(store);
    timed_.emplace(*in_store_);
    anchored_.emplace(*timed_, AnchorPathOf(settings_), anchor);
    return absl::OkStatus();
  }
  const auto catalog = LoadCatalog(*store.TakeSnapshot());
  if (!catalog.ok()) return catalog.status();
  if (absl::Status joined = member_->Join(store, catalog->log_sequence); !joined.ok()) {
    return joined;
  }
  timed_.emplace(member_->log());
  return absl::OkStatus();
}

std::unique_ptr<StandingCopy> LogInUse::KeepCopy(const Engine& engine, DiskStore& store) {
  if (!member_) return nullptr;
  // Where that cannot be told now, one more is made.
  return std::make_unique<StandingCopy>(
      engine, store,
      StandingCopy::Options{.directory = settings_.data_directory + "/copy",
                            .every = std::chrono::seconds(settings_.cluster.copy_seconds),
                            .holds = member_->OwnCopy().value_or(0),
                            .tell = [this](uint64_t holds) { member_->TellCopy(holds); }});
}

void LogInUse::AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost) {
  if (!member_) return;
  options.lost_the_log = lost;
  options.compare_cells = [this, lost](uint64_t sequence, uint64_t hash) {
    member_->CompareCells(sequence, hash, lost);
  };
}

}  // namespace plumblane
