// The event log as an interface: append, read from a position, find the tail, trim.
//
// A log has partitions; within one, entries are numbered densely from 1 and never reused, so a gap
// is an error. Embedded in one daemon it has one partition and lives in the daemon's own store
// (StoreLog); a log that several daemons read implements the same interface (etcd/etcd_log.h).
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "storage/store.h"

namespace plumblane {

// In the space kMeta of a store whose log is elsewhere: the id of that log.
inline constexpr std::string_view kLogIdKey = "log";

// What became of an append.
enum class Appended {
  kDurable,  // it will survive
  kFenced,   // another owner writes this partition now
  kUnknown,  // it may or may not be there: read back, or append the same bytes again
  kFull,     // refused for lack of room; nothing was written
};

struct LogRecord {
  uint64_t sequence = 0;
  std::string bytes;
  bool operator==(const LogRecord&) const = default;
};

// One thread appends and trims; reading is safe from any thread.
class EventLog {
 public:
  virtual ~EventLog() = default;

  // Appends at `sequence`, which must be the tail plus one, and returns when the outcome is known.
  virtual Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) = 0;

  // Entries from `from` on, ascending, up to about `max_bytes` (at least one when there is one).
  // Errors: OUT_OF_RANGE when `from` was trimmed; DATA_LOSS for a gap or damage.
  virtual absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                                      size_t max_bytes) const = 0;

  // The last sequence, 0 for an empty log.
  virtual absl::StatusOr<uint64_t> Tail(uint32_t partition) const = 0;

  // As Tail, but up to some tens of milliseconds old: for who looks often, at many partitions.
  struct Recent {
    uint64_t sequence = 0;
    std::chrono::milliseconds age{0};
  };
  virtual absl::StatusOr<Recent> RecentTail(uint32_t partition) const {
    const auto tail = Tail(partition);
    if (!tail.ok()) return tail.status();
    return Recent{*tail};
  }

  // Entries below `below` are no longer needed by who says so: what they made is durable there. May
  // take effect later; the last entry always stays.
  virtual absl::Status Trim(uint32_t partition, uint64_t below) = 0;

  // Who says so does not read on: no entry is kept for it, until it trims again.
  virtual void Leave(uint32_t /*partition*/) {}

  // Whether an append makes durable all that was written to the appender's store before it.
  virtual bool KeepsStoreDurable() const = 0;
};

// The log in the space kLog of a store, one partition (0). Trimming is written together with the
// next append: by then all that was applied before is as durable as the append itself.
class StoreLog final : public EventLog {
 public:
  // `store` must outlive the log.
  explicit StoreLog(Store& store) : store_(store) {}

  Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) override;
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                              size_t max_bytes) const override;
  absl::StatusOr<uint64_t> Tail(uint32_t partition) const override;
  absl::Status Trim(uint32_t partition, uint64_t below) override;
  bool KeepsStoreDurable() const override { return true; }

 private:
  absl::StatusOr<uint64_t> FirstSequence(const Snapshot& snapshot) const;

  Store& store_;
  uint64_t trimmed_below_ = 0;  // entries below are deleted; 0 = not yet known
  uint64_t trim_below_ = 0;     // entries below go with the next append
};

}  // namespace plumblane
