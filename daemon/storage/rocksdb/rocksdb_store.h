// The store on RocksDB. The only folder that includes RocksDB.
//
// Every setting that bears on durability is chosen in rocksdb_options.cc, with its reason.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <memory>
#include <string>

#include "storage/store.h"

namespace plumblane {

struct RocksDbStoreOptions {
  std::string path;                       // created when missing
  int64_t block_cache_bytes = 64 << 20;   // decoded blocks kept for reading
  int64_t write_buffer_bytes = 64 << 20;  // per column family before a flush
};

// Opens or creates the store. Errors:
//   DATA_LOSS            the files are damaged or not ours; nothing was changed
//   FAILED_PRECONDITION  another process has it open
//   UNAVAILABLE          the disk or the permissions do not allow it
absl::StatusOr<std::unique_ptr<Store>> OpenRocksDbStore(const RocksDbStoreOptions& options);

}  // namespace plumblane
