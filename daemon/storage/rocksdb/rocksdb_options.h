// The RocksDB settings, in one place. Private to this folder.
#pragma once

#include <absl/status/status.h>
#include <rocksdb/cache.h>
#include <rocksdb/env.h>
#include <rocksdb/options.h>

#include <functional>
#include <memory>
#include <mutex>
#include <utility>

#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

// The first write that failed, by whoever: from then on there is no other. Thread-safe.
class Failure {
 public:
  using Told = std::function<void(const absl::Status&)>;
  explicit Failure(Told told) : told_(std::move(told)) {}

  void Note(const absl::Status& why) {
    {
      const std::lock_guard lock(mutex_);
      if (!why_.ok()) return;
      why_ = why;
    }
    if (told_) told_(why);
  }
  absl::Status why() const {
    const std::lock_guard lock(mutex_);
    return why_;
  }

 private:
  const Told told_;
  mutable std::mutex mutex_;
  absl::Status why_;  // guarded by mutex_
};

// The library counts for each thread what nobody asks for, each comparison of two keys among it.
// The calling thread does not from its first call on, unless it switches that on again.
void CountNothing();

absl::Status ToStatus(const rocksdb::Status& status);

rocksdb::DBOptions DbOptionsFor(const RocksDbStoreOptions& options,
                                const std::shared_ptr<Failure>& failure);
rocksdb::ColumnFamilyOptions FamilyOptionsFor(const RocksDbStoreOptions& options, Space space,
                                              const std::shared_ptr<rocksdb::Cache>& cache);
// `snapshot` null: the latest.
rocksdb::ReadOptions ReadOptionsFor(const rocksdb::Snapshot* snapshot);
rocksdb::WriteOptions WriteOptionsFor(bool sync);

}  // namespace plumblane
