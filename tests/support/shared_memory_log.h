// A log that several engines of one process share, with an owner who is fenced and faults on
// command.
#pragma once

#include <absl/strings/str_cat.h>

#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "eventlog/event_log.h"
#include "eventlog/ownership.h"

namespace plumblane::test {

class SharedMemory {
 public:
  enum class Fault { kNone, kUnknownAndThere, kUnknownAndNot, kFull };

  Fault next_fault = Fault::kNone;  // of the next append
  bool is_reachable = true;

  // Whoever owns it does not any more, and has not noticed.
  void LoseOwner() {
    const std::lock_guard lock(mutex);
    owner.clear();
    ++fence;
  }
  void TrimBelow(uint64_t below) {
    const std::lock_guard lock(mutex);
    first = below;
  }

  std::mutex mutex;  // guards all
  std::string owner;
  int fence = 0;
  uint64_t first = 1;
  std::vector<std::string> entries;
};

// One engine's side of it.
class SharedMemoryNode final : public EventLog, public Ownership {
 public:
  SharedMemoryNode(SharedMemory& shared, std::string name)
      : shared_(shared), name_(std::move(name)) {}

  Appended Append(uint32_t, uint64_t sequence, std::string bytes) override {
    const std::lock_guard lock(shared_.mutex);
    if (fence_ == 0 || fence_ != shared_.fence) return Appended::kFenced;
    if (sequence != shared_.entries.size() + 1) return Appended::kFenced;
    const auto fault = std::exchange(shared_.next_fault, SharedMemory::Fault::kNone);
    if (fault == SharedMemory::Fault::kFull) return Appended::kFull;
    if (fault == SharedMemory::Fault::kUnknownAndNot) return Appended::kUnknown;
    shared_.entries.push_back(std::move(bytes));
    return fault == SharedMemory::Fault::kNone ? Appended::kDurable : Appended::kUnknown;
  }
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t, uint64_t from, size_t) const override {
    const std::lock_guard lock(shared_.mutex);
    if (!shared_.is_reachable) return absl::UnavailableError("out of reach");
    if (from < shared_.first) return absl::OutOfRangeError(absl::StrCat("starts after ", from));
    std::vector<LogRecord> records;
    if (from <= shared_.entries.size()) records.push_back({from, shared_.entries[from - 1]});
    return records;
  }
  absl::StatusOr<uint64_t> Tail(uint32_t) const override {
    const std::lock_guard lock(shared_.mutex);
    if (!shared_.is_reachable) return absl::UnavailableError("out of reach");
    return shared_.entries.size();
  }
  absl::Status Trim(uint32_t, uint64_t below) override {
    const std::lock_guard lock(shared_.mutex);
    trimmed_below_ = below;
    return absl::OkStatus();
  }
  bool KeepsStoreDurable() const override { return false; }

  absl::StatusOr<bool> Acquire(uint32_t) override {
    const std::lock_guard lock(shared_.mutex);
    if (!shared_.owner.empty() && shared_.owner != name_) return false;
    shared_.owner = name_;
    fence_ = ++shared_.fence;
    return true;
  }
  void Release(uint32_t) override {
    const std::lock_guard lock(shared_.mutex);
    if (shared_.owner == name_ && fence_ == shared_.fence) shared_.owner.clear();
    fence_ = 0;
  }
  bool IsMine(uint32_t) const override {
    const std::lock_guard lock(shared_.mutex);
    return fence_ != 0;
  }
  std::string OwnersAddress(uint32_t) const override {
    const std::lock_guard lock(shared_.mutex);
    return shared_.owner;
  }

  uint64_t trimmed_below() const {
    const std::lock_guard lock(shared_.mutex);
    return trimmed_below_;
  }

 private:
  SharedMemory& shared_;
  const std::string name_;
  int fence_ = 0;
  uint64_t trimmed_below_ = 0;
};

}  // namespace plumblane::test
