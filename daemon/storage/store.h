// The store as an interface: what the engine needs of a key-value store, no more.
//
// Keys are byte strings, sorted by byte within their space (keys.h has the grammar). A Batch is
// written whole or not at all, also across spaces. A Snapshot is a consistent view of all spaces
// that never changes. Implementations: memory_store.h, rocksdb/rocksdb_store.h; one contract suite
// tests both (tests/contract).
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace plumblane {

// Column families. Order and names are part of the format on disk: only append.
enum class Space { kMeta = 0, kOrders = 1, kCells = 2, kIndex = 3, kLog = 4 };
inline constexpr std::string_view kSpaceNames[] = {"default", "orders", "cells", "index", "log"};
inline constexpr int kSpaceCount = 5;

// Changes to be made together; later ones win over earlier ones of the same key.
struct Batch {
  struct Change {
    Space space;
    std::string key;
    std::optional<std::string> value;  // absent = delete
  };
  std::vector<Change> changes;

  void Put(Space space, std::string key, std::string value) {
    changes.push_back({space, std::move(key), std::move(value)});
  }
  void Delete(Space space, std::string key) {
    changes.push_back({space, std::move(key), std::nullopt});
  }
};

// Thread-safe. Errors are those of the medium: DATA_LOSS for damage, UNAVAILABLE for the rest.
class Snapshot {
 public:
  virtual ~Snapshot() = default;

  virtual absl::StatusOr<std::optional<std::string>> Get(Space space,
                                                         std::string_view key) const = 0;

  // As Get for each key, in the order given.
  virtual absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const = 0;

  // Calls `each` for every key that starts with `prefix` and is not below `from`, ascending, until
  // it returns false.
  using Each = std::function<bool(std::string_view key, std::string_view value)>;
  virtual absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                            const Each& each) const = 0;

  // Scan of one space, for who scans it often in turn: what it takes to begin is done once, and
  // what lies right behind the last prefix is found at once. Lives no longer than the snapshot; not
  // thread-safe, nor may `each` scan with it.
  using Scanner =
      std::function<absl::Status(std::string_view prefix, std::string_view from, const Each& each)>;
  virtual Scanner ScannerOf(Space space) const {
    return [this, space](std::string_view prefix, std::string_view from, const Each& each) {
      return Scan(space, prefix, from, each);
    };
  }
};

// Snapshots may be taken from any thread while one thread writes.
class Store {
 public:
  virtual ~Store() = default;

  virtual std::shared_ptr<const Snapshot> TakeSnapshot() const = 0;

  // Writes the batch; with `sync` it and all written before it survive a power cut once this
  // returns OK. After an error nothing may be acknowledged any more: the outcome is unknown until
  // the store is opened again.
  virtual absl::Status Write(const Batch& batch, bool sync) = 0;
};

}  // namespace plumblane
