// A thread that does one thing after the other, for what must not interleave with its own kind: a
// check of the state and the change that rests on it.
//
// Thread-safe. The destructor does what is waiting, then ends.
#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>
#include <utility>

namespace plumblane {

class Worker {
 public:
  explicit Worker(size_t most_waiting = 1000)
      : most_waiting_(most_waiting), thread_([this] { Run(); }) {}
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;
  ~Worker() {
    {
      const std::lock_guard lock(mutex_);
      ending_ = true;
    }
    changed_.notify_one();
    thread_.join();
  }

  // False, and nothing is done, when too much is waiting. `work` may block.
  [[nodiscard]] bool Post(std::function<void()> work) {
    {
      const std::lock_guard lock(mutex_);
      if (waiting_.size() >= most_waiting_) return false;
      waiting_.push_back(std::move(work));
    }
    changed_.notify_one();
    return true;
  }

 private:
  void Run() {
    for (;;) {
      std::function<void()> work;
      {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [this] { return ending_ || !waiting_.empty(); });
        if (waiting_.empty()) return;
        work = std::move(waiting_.front());
        waiting_.pop_front();
      }
      work();
    }
  }

  const size_t most_waiting_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> waiting_;  // guarded by mutex_
  bool ending_ = false;                        // guarded by mutex_
  std::thread thread_;
};

}  // namespace plumblane
