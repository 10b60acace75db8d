// A wall clock that stands still until it is set.
#pragma once

#include <atomic>

#include "base/clock.h"

namespace plumblane::test {

class FixedClock final : public Clock {
 public:
  explicit FixedClock(Instant now) : millis_(now.millis) {}
  Instant Now() const override { return {millis_.load()}; }
  void Set(Instant now) { millis_ = now.millis; }

 private:
  std::atomic<int64_t> millis_;
};

}  // namespace plumblane::test
