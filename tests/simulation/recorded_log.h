// The log of the engine under simulation, and a copy of all it ever held.
#pragma once

#include <map>
#include <string>
#include <utility>

#include "eventlog/event_log.h"

namespace plumblane::test {

// Passes everything on and remembers each entry; `early` answers before it has written, as a log
// must not: the entry comes to the store with the next one.
class RecordedLog final : public EventLog {
 public:
  RecordedLog(Store& store, std::map<uint64_t, std::string>& entries, bool early)
      : log_(store), entries_(entries), early_(early) {}

  Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) override {
    entries_[sequence] = bytes;
    entries_.erase(entries_.upper_bound(sequence), entries_.end());
    if (!early_) return log_.Append(partition, sequence, std::move(bytes));
    if (!late_.empty()) {
      const Appended before = log_.Append(partition, sequence - 1, std::move(late_));
      if (before != Appended::kDurable) return before;
    }
    late_ = std::move(bytes);
    return Appended::kDurable;
  }
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                              size_t max_bytes) const override {
    return log_.Read(partition, from, max_bytes);
  }
  absl::StatusOr<uint64_t> Tail(uint32_t partition) const override { return log_.Tail(partition); }
  absl::Status Trim(uint32_t partition, uint64_t below) override {
    return log_.Trim(partition, below);
  }
  bool KeepsStoreDurable() const override { return log_.KeepsStoreDurable(); }

 private:
  StoreLog log_;
  std::map<uint64_t, std::string>& entries_;
  const bool early_;
  std::string late_;
};

}  // namespace plumblane::test
