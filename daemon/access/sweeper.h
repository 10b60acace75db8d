// Has a gate look every second for open calls whose tokens have expired.
#pragma once

#include <chrono>
#include <thread>

#include "access/gate.h"
#include "base/stop_event.h"

namespace plumblane {

class Sweeper {
 public:
  // `gate` must outlive this.
  explicit Sweeper(Gate& gate)
      : thread_([this, &gate] {
          while (!over_.WaitFor(std::chrono::seconds(1))) gate.Sweep();
        }) {}
  ~Sweeper() {
    over_.Set();
    thread_.join();
  }
  Sweeper(const Sweeper&) = delete;
  Sweeper& operator=(const Sweeper&) = delete;

 private:
  StopEvent over_;
  std::thread thread_;  // last: it uses what stands above
};

}  // namespace plumblane
