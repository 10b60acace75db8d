// Where the data lies, and opening it only when nothing that was acknowledged is missing.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "app/settings.h"
#include "eventlog/anchor.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

std::string StorePathOf(const Settings& settings);
std::string AnchorPathOf(const Settings& settings);

// Makes it when missing, for its owner alone.
absl::Status MakeDataDirectory(const std::string& path);

// The exit code that says whether starting again may help.
int ExitCodeFor(const absl::Status& status);

struct OpenedData {
  std::unique_ptr<DiskStore> store;
  Anchor anchor;  // as its file says
};

// Opens the store, or makes one, and its anchor. Before that it is read without changing anything:
// data of a newer version, and a log that ends before its anchor, are refused. Data of an older
// version is copied to DATA/backup-of-format-N first. `failed` is that of RocksDbStoreOptions.
// Errors: UNIMPLEMENTED for data of a newer version, DATA_LOSS for what is damaged or missing,
// RESOURCE_EXHAUSTED without room for what opening writes, others as OpenRocksDbStore.
absl::StatusOr<OpenedData> OpenData(const Settings& settings,
                                    std::function<void(const absl::Status&)> failed);

// What a store holds, as far as its log and its small records say.
struct StoreFacts {
  std::string store_id;
  int format_version = 0;  // 0: none is stored
  bool has_log = true;     // else it is elsewhere, and nothing is said of it below
  uint64_t last_sequence = 0;
  std::optional<Instant> last_received;  // when that entry was
};
// Errors: UNIMPLEMENTED for data of a newer version, DATA_LOSS, those of the medium.
absl::StatusOr<StoreFacts> FactsOf(const Snapshot& snapshot);

// How many entries the anchor says were there and the store lacks; DATA_LOSS when the anchor is
// that of another store.
absl::StatusOr<uint64_t> EntriesMissing(const std::optional<Anchor>& anchor,
                                        const StoreFacts& facts);

}  // namespace plumblane
