// An open database with our spaces, and snapshots of it. Private to this folder.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>
#include <rocksdb/db.h>

#include <memory>
#include <string>
#include <vector>

#include "storage/rocksdb/rocksdb_options.h"
#include "storage/store.h"

namespace plumblane {

// Kept alive by every snapshot.
struct Database {
  std::unique_ptr<rocksdb::DB> db;
  std::vector<rocksdb::ColumnFamilyHandle*> families;  // by space; null where it was not opened
  std::shared_ptr<Failure> failure;

  rocksdb::ColumnFamilyHandle* Of(Space space) const {
    return families[static_cast<size_t>(space)];
  }
  ~Database();
};

std::shared_ptr<const Snapshot> SnapshotOf(std::shared_ptr<const Database> database);

// The spaces that are asked for, with their settings.
std::vector<rocksdb::ColumnFamilyDescriptor> FamiliesFor(const RocksDbStoreOptions& options,
                                                         const std::vector<Space>& spaces);
std::vector<Space> AllSpaces();

// Why opening `path` failed, in the codes of OpenRocksDbStore.
absl::Status WhyNotOpened(const std::string& path, const rocksdb::Status& status);

}  // namespace plumblane
