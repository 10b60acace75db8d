#include "app/log_in_use.h"

#include <utility>

#include "app/open_data.h"
#include "engine/catalog.h"

namespace plumblane {

absl::StatusOr<std::unique_ptr<LogInUse>> LogInUse::Open(const Settings& settings, Store& store,
                                                         const Anchor& anchor) {
  auto made = std::make_unique<LogInUse>();
  const ClusterSettings& cluster = settings.cluster;
  if (cluster.etcd.empty()) {
    made->in_store_.emplace(store);
    made->timed_.emplace(*made->in_store_);
    made->anchored_.emplace(*made->timed_, AnchorPathOf(settings), anchor);
    return made;
  }
  const auto catalog = LoadCatalog(*store.TakeSnapshot());
  if (!catalog.ok()) return catalog.status();
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
  absl::Status joined = made->member_->Join(store, catalog->log_sequence);
  if (!joined.ok()) return joined;
  made->timed_.emplace(made->member_->log());
  return made;
}

void LogInUse::AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost) {
  if (!member_) return;
  options.lost_the_log = lost;
  options.compare_cells = [this, lost](uint64_t sequence, uint64_t hash) {
    member_->CompareCells(sequence, hash, lost);
  };
}

}  // namespace plumblane
