// A log that notes how long appends took, sync included. Otherwise as the log behind it.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "base/stopwatch.h"
#include "eventlog/event_log.h"

namespace plumblane {

class TimedLog final : public EventLog {
 public:
  // Upper ends of the buckets in seconds; one more holds what took longer.
  static constexpr std::array kEnds = {.001, .002, .005, .01, .02, .05, .1, .2, .5, 1., 2., 5.};

  // `log` must outlive it.
  explicit TimedLog(EventLog& log) : log_(log) {}

  Appended Append(uint32_t partition, uint64_t sequence, std::string bytes) override {
    const Stopwatch watch;
    const Appended appended = log_.Append(partition, sequence, std::move(bytes));
    const double seconds = watch.Seconds();
    size_t bucket = 0;
    while (bucket < kEnds.size() && seconds > kEnds[bucket]) ++bucket;
    ++counts_[bucket];
    micros_ += static_cast<int64_t>(seconds * 1e6);
    return appended;
  }
  absl::StatusOr<std::vector<LogRecord>> Read(uint32_t partition, uint64_t from,
                                              size_t max_bytes) const override {
    return log_.Read(partition, from, max_bytes);
  }
  absl::StatusOr<uint64_t> Tail(uint32_t partition) const override { return log_.Tail(partition); }
  absl::StatusOr<Recent> RecentTail(uint32_t partition) const override {
    return log_.RecentTail(partition);
  }
  absl::Status Trim(uint32_t partition, uint64_t below) override {
    return log_.Trim(partition, below);
  }
  void Leave(uint32_t partition) override { log_.Leave(partition); }
  bool KeepsStoreDurable() const override { return log_.KeepsStoreDurable(); }

  // Since the start. Thread-safe.
  int64_t count(size_t bucket) const { return counts_[bucket]; }
  double seconds() const { return static_cast<double>(micros_) / 1e6; }

 private:
  EventLog& log_;
  std::array<std::atomic<int64_t>, kEnds.size() + 1> counts_ = {};
  std::atomic<int64_t> micros_ = 0;
};

}  // namespace plumblane
