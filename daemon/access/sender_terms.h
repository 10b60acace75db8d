// What one client may send.
#pragma once

#include <algorithm>
#include <cstdint>
#include <mutex>
#include <set>
#include <string>

#include "base/time.h"

namespace plumblane {

// So many events a second, with a second's worth at once. Thread-safe.
class EventRate {
 public:
  // REQUIRES: events_a_second > 0.
  explicit EventRate(int64_t events_a_second)
      : rate_(static_cast<double>(events_a_second)), left_(rate_) {}

  // Takes `events`, or says in how many milliseconds to come again; 0 = taken. Whoever comes after
  // a pause is let in with any number at once, and pays for it afterwards.
  int64_t Take(int64_t events, Instant now) {
    const std::lock_guard lock(mutex_);
    const double seconds = static_cast<double>(std::max<int64_t>(0, now - last_)) / 1000;
    left_ = std::min(rate_, left_ + seconds * rate_);
    last_ = std::max(last_, now);
    if (left_ <= 0) return 1 + static_cast<int64_t>(-left_ / rate_ * 1000);
    left_ -= static_cast<double>(events);
    return 0;
  }

 private:
  const double rate_;
  std::mutex mutex_;
  double left_;   // guarded by mutex_
  Instant last_;  // guarded by mutex_
};

struct SenderTerms {
  std::string name;               // of the token
  std::set<std::string> sources;  // empty = any
  EventRate* rate = nullptr;      // null = as fast as it can; lives as long as the gate

  bool MaySendFrom(const std::string& source) const {
    return sources.empty() || sources.contains(source);
  }
};

}  // namespace plumblane
