#include "app/log_in_use.h"

#include <absl/strings/str_cat.h>

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "app/first_copy.h"
#include "app/open_data.h"
#include "engine/joined_snapshot.h"
#include "engine/partitions.h"
#include "engine/records.h"
#include "eventlog/log_key.h"
#include "storage/keys.h"

namespace plumblane {

namespace {

// Entries of each partition that the store has.
absl::StatusOr<std::vector<uint64_t>> AppliedIn(const Snapshot& snapshot) {
  const auto partitions = PartitionsIn(snapshot);
  if (!partitions.ok()) return partitions.status();
  std::vector<uint64_t> applied;
  for (uint32_t partition = 0; partition < *partitions; ++partition) {
    const std::string key =
        absl::StrCat(*partitions > 1 ? PartitionPrefix(partition) : "", std::string(kProgressKey));
    const auto record = snapshot.Get(Space::kMeta, key);
    if (!record.ok()) return record.status();
    Catalog progress;
    if (*record) {
      if (absl::Status bad = DecodeProgress(**record, progress); !bad.ok()) return bad;
    }
    applied.push_back(progress.log_sequence);
  }
  return applied;
}

}  // namespace

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
                                            .reader = std::chrono::hours(cluster.reader_hours),
                                            .partitions = static_cast<uint32_t>(cluster.partitions),
                                            .follows_all = cluster.follow == "all"});
  std::error_code error;
  if (std::filesystem::exists(StorePathOf(settings), error)) return made;
  const auto addresses = made->member_->CopiesToBeginWith();
  if (!addresses.ok()) return addresses.status();
  if (addresses->empty()) return made;
  if (absl::Status status = FetchFirstCopy(settings, *addresses, still_at_it); !status.ok()) {
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
  const auto applied = AppliedIn(*store.TakeSnapshot());
  if (!applied.ok()) return applied.status();
  const auto partitions = member_->Join(store, *applied);
  if (!partitions.ok()) return partitions.status();
  partitions_ = *partitions;
  if (partitions_ > 1) {
    Batch batch;
    batch.Put(Space::kMeta, std::string(kPartitionsKey), EncodeCount(partitions_));
    if (absl::Status status = store.Write(batch, /*sync=*/true); !status.ok()) return status;
  }
  timed_.emplace(member_->log());
  return absl::OkStatus();
}

std::unique_ptr<StandingCopy> LogInUse::KeepCopy(const Desk& engine, DiskStore& store) {
  if (!member_ || !HoldsAll()) return nullptr;
  // Where that cannot be told now, one more is made.
  return std::make_unique<StandingCopy>(
      engine, store,
      StandingCopy::Options{.directory = settings_.data_directory + "/copy",
                            .every = std::chrono::seconds(settings_.cluster.copy_seconds),
                            .holds = member_->OwnCopy().value_or(std::vector<uint64_t>()),
                            .tell = [this](const auto& holds) { member_->TellCopy(holds); }});
}

void LogInUse::AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost) {
  if (!member_) return;
  options.lost_the_log = lost;
  options.only_owned = !HoldsAll();
  options.compare_cells = [this, lost](uint32_t partition, uint64_t sequence, uint64_t hash) {
    member_->CompareCells(partition, sequence, hash, lost);
  };
}

}  // namespace plumblane
