// The anchor: a small file outside the store that says up to where the log was durable. The store
// itself cannot tell when the end of its own log is missing: cut off or deleted, it opens as what
// it was earlier. A store that ends before its anchor is refused.
//
// It is written once a second, so what was acknowledged in the second before a crash is not
// covered. It names the store, so that the anchor of another is noticed, and the format version of
// the data, so that a daemon that is too old can say so.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <atomic>
#include <cstdint>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "base/stop_event.h"
#include "eventlog/event_log.h"

namespace plumblane {

struct Anchor {
  std::string store_id;
  int format_version = 0;
  uint64_t sequence = 0;  // every entry up to here was durable
  bool operator==(const Anchor&) const = default;
};

std::string EncodeAnchor(const Anchor& anchor);
// None when there is no such file. Errors: DATA_LOSS when it is no anchor or was changed,
// UNAVAILABLE when it cannot be read.
absl::StatusOr<std::optional<Anchor>> ReadAnchor(const std::string& path);
// File and folder synced.
absl::Status WriteAnchor(const std::string& path, const Anchor& anchor);

// The id that the store was given when it was made; "" for one made before there were ids.
absl::StatusOr<std::string> StoreId(const Snapshot& snapshot);
// Gives one to a store that has none.
absl::StatusOr<std::string> EnsureStoreId(Store& store);

// A log that writes its anchor. Otherwise as the log behind it.
class AnchoredLog final : public EventLog {
 public:
  // `log` must outlive it; `anchor` is what the file says, or will after WriteAnchor.
  AnchoredLog(EventLog& log, std::string path, Anchor anchor);
  // Writes what is not yet written.
  ~AnchoredLog() override;
  AnchoredLog(const AnchoredLog&) = delete;
  AnchoredLog& operator=(const AnchoredLog&) = delete;

  Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) override;
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                              size_t max_bytes) const override {
    return log_.Read(partition, from, max_bytes);
  }
  absl::StatusOr<uint64_t> Tail(uint32_t partition) const override { return log_.Tail(partition); }
  absl::Status Trim(uint32_t partition, uint64_t below) override {
    return log_.Trim(partition, below);
  }
  bool KeepsStoreDurable() const override { return log_.KeepsStoreDurable(); }

  // Why the file could not be written the last time, "" = it could. Thread-safe.
  std::string failure() const;

 private:
  void Run();
  void WriteNews();

  EventLog& log_;
  const std::string path_;
  Anchor written_;  // belongs to the thread
  std::atomic<uint64_t> durable_;
  mutable std::mutex mutex_;
  std::string failure_;  // guarded by mutex_
  StopEvent stop_;
  std::thread thread_;
};

}  // namespace plumblane
