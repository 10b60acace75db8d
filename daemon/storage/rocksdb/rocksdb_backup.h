// Copies of a store in a directory (BackupEngine). Private to this folder; restoring is in
// rocksdb_store.h.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <string>

#include "storage/rocksdb/rocksdb_database.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

absl::StatusOr<Backup> MakeBackup(const Database& database, const std::string& directory, int keep,
                                  const std::string& note, const std::function<bool()>& give_up);

}  // namespace plumblane
