// How long something took, whatever is done to the clock meanwhile.
#pragma once

#include <chrono>

namespace plumblane {

class Stopwatch {
 public:
  double Seconds() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }

 private:
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
};

}  // namespace plumblane
