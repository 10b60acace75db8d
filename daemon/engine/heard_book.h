// When suppliers were last heard of, kept until the next entry: to look for it is a fifth of the
// score of a pair whose cells are in memory, and of many partitions it is looked for in each.
//
// Thread-safe. Who asks about an older state than another did reads it anew.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "base/time.h"

namespace plumblane {

class HeardBook {
 public:
  using Heard = std::optional<Instant>;  // none = never

  // As of the state that entries up to `sequence` have made, which `read` reads.
  absl::StatusOr<Heard> Ask(uint64_t sequence, const std::string& supplier,
                            const std::function<absl::StatusOr<Heard>()>& read) {
    {
      const std::lock_guard lock(mutex_);
      const auto known = heard_.find(supplier);
      if (sequence == sequence_ && known != heard_.end()) return known->second;
    }
    auto heard = read();
    if (!heard.ok()) return heard;
    const std::lock_guard lock(mutex_);
    if (sequence > sequence_) {
      heard_.clear();
      sequence_ = sequence;
    }
    if (sequence == sequence_) heard_.insert_or_assign(supplier, *heard);
    return heard;
  }

 private:
  std::mutex mutex_;
  uint64_t sequence_ = 0;               // guarded by mutex_
  std::map<std::string, Heard> heard_;  // as of it; likewise
};

}  // namespace plumblane
