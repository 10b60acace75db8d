// Has a gate look every second for open calls whose tokens have expired.
#pragma once

#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "access/gate.h"

namespace plumblane {

class Sweeper {
 public:
  // `gate` must outlive this.
  explicit Sweeper(Gate& gate) : thread_([this, &gate] { Run(gate); }) {}
  ~Sweeper() {
    {
      const std::lock_guard lock(mutex_);
      is_over_ = true;
    }
    over_.notify_all();
    thread_.join();
  }
  Sweeper(const Sweeper&) = delete;
  Sweeper& operator=(const Sweeper&) = delete;

 private:
  void Run(Gate& gate) {
    std::unique_lock lock(mutex_);
    while (!over_.wait_for(lock, std::chrono::seconds(1), [this] { return is_over_; })) {
      gate.Sweep();
    }
  }

  std::mutex mutex_;
  std::condition_variable over_;
  bool is_over_ = false;  // guarded by mutex_
  std::thread thread_;    // last: it uses what stands above
};

}  // namespace plumblane
