// Where "now" comes from. Held by the engine only; everything below it takes `now` as an argument.
#pragma once

#include <chrono>

#include "base/time.h"

namespace plumblane {

// Thread-safe.
class Clock {
 public:
  virtual ~Clock() = default;
  virtual Instant Now() const = 0;
};

class WallClock final : public Clock {
 public:
  Instant Now() const override {
    const auto since_epoch = std::chrono::system_clock::now().time_since_epoch();
    return {std::chrono::duration_cast<std::chrono::milliseconds>(since_epoch).count()};
  }
};

}  // namespace plumblane
