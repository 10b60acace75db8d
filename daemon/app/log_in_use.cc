#include "app/log_in_use.h"

#include <absl/strings/str_cat.h>

#include <string>
#include <utility>
#include <vector>

#include "app/open_data.h"
#include "engine/joined_snapshot.h"
#include "engine/partitions.h"
#include "engine/records.h"
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
  const auto applied = AppliedIn(*store.TakeSnapshot());
  if (!applied.ok()) return applied.status();
  EtcdOptions etcd{.endpoints = cluster.etcd,
                   .ca = cluster.ca,
                   .certificate = cluster.certificate,
                   .key = cluster.key,
                   .prefix = cluster.name,
                   // A member that hangs must not cost the lease: there is time to ask another.
                   .patience = std::chrono::milliseconds(cluster.lease_seconds * 1000 / 3)};
  made->member_.emplace(
      EtcdMember::Options{.etcd = std::move(etcd),
                          .node = cluster.node,
                          .address = cluster.address,
                          .lease = std::chrono::seconds(cluster.lease_seconds),
                          .reader = std::chrono::hours(cluster.reader_hours),
                          .partitions = static_cast<uint32_t>(cluster.partitions)});
  const auto partitions = made->member_->Join(store, *applied);
  if (!partitions.ok()) return partitions.status();
  made->partitions_ = *partitions;
  if (*partitions > 1) {
    Batch batch;
    batch.Put(Space::kMeta, std::string(kPartitionsKey), EncodeCount(*partitions));
    if (absl::Status status = store.Write(batch, /*sync=*/true); !status.ok()) return status;
  }
  made->timed_.emplace(made->member_->log());
  return made;
}

void LogInUse::AddTo(EngineOptions& options, const std::function<void(const absl::Status&)>& lost) {
  if (!member_) return;
  options.lost_the_log = lost;
  options.compare_cells = [this, lost](uint32_t partition, uint64_t sequence, uint64_t hash) {
    member_->CompareCells(partition, sequence, hash, lost);
  };
}

}  // namespace plumblane
