// The store on RocksDB. The only folder that includes RocksDB.
//
// Every setting that bears on durability is chosen in rocksdb_options.cc, with its reason.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "storage/store.h"

namespace rocksdb {
class Env;
}

namespace plumblane {

struct RocksDbStoreOptions {
  std::string path;                      // created when missing
  int64_t block_cache_bytes = 64 << 20;  // decoded blocks kept for reading
  // Written and not yet in tables, of all spaces together. After a crash opening puts it into
  // memory again, record by record: this bounds how long that takes.
  int64_t write_buffer_bytes = 64 << 20;

  // Told once, of the first write that failed, also one in the background; from any thread, it must
  // not call the store. RESOURCE_EXHAUSTED: the disk is full; DATA_LOSS: files are damaged;
  // UNAVAILABLE: the rest. Until the store is opened again every write fails.
  std::function<void(const absl::Status&)> failed = {};
  // Stands in for the machine's files in tests. Must outlive the store; the process, once a write
  // failed: the library's threads are left to themselves then.
  rocksdb::Env* env = nullptr;
};

// A copy of the store, as of one moment, among others in a directory.
struct Backup {
  int64_t number = 0;
  int64_t bytes = 0;         // all of it, also what it shares with other copies
  std::string note;          // what whoever made it wanted to remember
  int64_t unix_seconds = 0;  // when it was made
  int kept = 0;              // copies in the directory
};

class DiskStore : public Store {
 public:
  // Reads every file and checks all checksums. Errors besides those of the medium: CANCELLED once
  // `give_up`, asked between files, says so.
  virtual absl::Status CheckFiles(const std::function<bool()>& give_up) const = 0;

  // Adds a copy to `directory`, made when missing, while writing goes on; it is on the disk and was
  // read back when this returns. It holds all that was written before the call. Copies beyond the
  // latest `keep` go; 0 = none does. One at a time. Error besides: CANCELLED once `give_up` says
  // so.
  virtual absl::StatusOr<Backup> BackUp(const std::string& directory, int keep,
                                        const std::string& note,
                                        const std::function<bool()>& give_up) = 0;
};

// Opens or creates the store. Errors:
//   DATA_LOSS            the files are damaged or not ours; nothing was changed
//   FAILED_PRECONDITION  another process has it open
//   RESOURCE_EXHAUSTED   the disk is full
//   UNAVAILABLE          the disk or the permissions do not allow it
absl::StatusOr<std::unique_ptr<DiskStore>> OpenRocksDbStore(const RocksDbStoreOptions& options);

// Opens what is there without changing it; writing fails. With `small_spaces_only` the meta and
// log spaces alone, which is quick. Error besides: NOT_FOUND when there is no store at `path`.
absl::StatusOr<std::unique_ptr<DiskStore>> ReadRocksDbStore(const std::string& path,
                                                            bool small_spaces_only = false);

// Opens the store, whose log is damaged, up to the damage, for good: what comes after is dropped.
// For copies. The store is closed again. Errors as OpenRocksDbStore.
absl::Status CutOffDamage(const std::string& path);

// Makes a store at `path`, which must not exist, of the copy with that number in `directory`, of
// the latest with 0, after reading it all and checking its checksums. Errors: NOT_FOUND without
// such a copy, DATA_LOSS when it is damaged, those of the medium.
absl::StatusOr<Backup> RestoreBackup(const std::string& directory, int64_t number,
                                     const std::string& path);

}  // namespace plumblane
