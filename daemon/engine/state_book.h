// What was read or counted of the latest state, kept until the next entry: to count a score or to
// look for a supplier's last event, in each of many partitions, is much of what a call takes while
// nothing else goes on (tests/bench/README.md, call_bench).
//
// Thread-safe. Who asks about an older state than another did has it read anew.
#pragma once

#include <absl/status/statusor.h>

#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <mutex>

namespace plumblane {

template <typename Key, typename Value>
class StateBook {
 public:
  // When values would weigh more together, those that were kept go.
  explicit StateBook(size_t most) : most_(most) {}

  // As of the state that entries up to `sequence` have made, which `read` reads. What it reads must
  // depend on nothing else but `key`. An error is not kept.
  absl::StatusOr<Value> Ask(
      uint64_t sequence, const Key& key, const std::function<absl::StatusOr<Value>()>& read,
      const std::function<size_t(const Value&)>& weigh = [](const Value&) { return 1; }) {
    {
      const std::lock_guard lock(mutex_);
      const auto known = values_.find(key);
      if (sequence == sequence_ && known != values_.end()) return known->second;
    }
    auto value = read();
    if (!value.ok()) return value;
    const std::lock_guard lock(mutex_);
    if (sequence > sequence_) {
      values_.clear();
      weight_ = 0;
      sequence_ = sequence;
    }
    const size_t weight = weigh(*value);
    if (sequence != sequence_ || weight > most_ || values_.contains(key)) return value;
    if (weight_ + weight > most_) {
      values_.clear();
      weight_ = 0;
    }
    values_.emplace(key, *value);
    weight_ += weight;
    return value;
  }

 private:
  const size_t most_;
  std::mutex mutex_;
  uint64_t sequence_ = 0;        // guarded by mutex_
  std::map<Key, Value> values_;  // as of it; likewise
  size_t weight_ = 0;            // of them; likewise
};

}  // namespace plumblane
