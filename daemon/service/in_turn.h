// Pieces of work one after the other, on a thread of its own: what a piece looks at is still so
// when it is done, and it may wait for the disk without holding up the threads that answer.
//
// Thread-safe. The destructor waits for what was given.
#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>
#include <utility>

#include "base/give_way.h"

namespace plumblane {

class InTurn {
 public:
  // The thread runs so many steps of niceness behind others.
  explicit InTurn(int behind = 0) : thread_([this, behind] { Run(behind); }) {}
  InTurn(const InTurn&) = delete;
  InTurn& operator=(const InTurn&) = delete;
  ~InTurn() {
    {
      const std::lock_guard lock(mutex_);
      closing_ = true;
    }
    changed_.notify_all();
    thread_.join();
  }

  void Do(std::function<void()> work) {
    {
      const std::lock_guard lock(mutex_);
      waiting_.push_back(std::move(work));
    }
    changed_.notify_all();
  }

 private:
  void Run(int behind) {
    GiveWay(behind);
    std::unique_lock lock(mutex_);
    for (;;) {
      changed_.wait(lock, [this] { return closing_ || !waiting_.empty(); });
      if (waiting_.empty()) return;
      const auto work = std::move(waiting_.front());
      waiting_.pop_front();
      lock.unlock();
      work();
      lock.lock();
    }
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> waiting_;  // guarded by mutex_, as is closing_
  bool closing_ = false;
  std::thread thread_;
};

}  // namespace plumblane
