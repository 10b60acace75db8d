// Work that takes seconds, on a thread of its own, so that the threads which answer quick questions
// and take events in stay free; one piece at a time, so that it never takes more than one core.
//
// Thread-safe. The destructor waits for what is running.
#pragma once

#include <functional>
#include <mutex>
#include <thread>
#include <utility>

#include "base/give_way.h"

namespace plumblane {

class OneAtATime {
 public:
  OneAtATime() = default;
  OneAtATime(const OneAtATime&) = delete;
  OneAtATime& operator=(const OneAtATime&) = delete;
  ~OneAtATime() {
    if (thread_.joinable()) thread_.join();
  }

  // Returns at once; false, and nothing is done, while other work is running. `tell` follows the
  // work when the next may start already, so that who is told of its end is not refused.
  [[nodiscard]] bool Start(std::function<void()> work, std::function<void()> tell) {
    const std::lock_guard lock(mutex_);
    if (is_busy_) return false;
    if (thread_.joinable()) thread_.join();
    is_busy_ = true;
    thread_ = std::thread([this, work = std::move(work), tell = std::move(tell)] {
      SetTurn(kBackgroundTurnMicros);
      work();
      {
        const std::lock_guard done(mutex_);
        is_busy_ = false;
      }
      tell();
    });
    return true;
  }

 private:
  std::mutex mutex_;
  bool is_busy_ = false;  // guarded by mutex_, as is thread_
  std::thread thread_;
};

}  // namespace plumblane
