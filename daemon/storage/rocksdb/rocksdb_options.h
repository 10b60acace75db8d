// The RocksDB settings, in one place. Private to this folder.
#pragma once

#include <rocksdb/cache.h>
#include <rocksdb/options.h>

#include <memory>

#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

rocksdb::DBOptions DbOptionsFor();
rocksdb::ColumnFamilyOptions FamilyOptionsFor(const RocksDbStoreOptions& options, Space space,
                                              const std::shared_ptr<rocksdb::Cache>& cache);
rocksdb::WriteOptions WriteOptionsFor(bool sync);

}  // namespace plumblane
