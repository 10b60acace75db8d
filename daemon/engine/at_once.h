// So many of many at once, the others in the order in which they came. Private to engine/.
//
// For threads that each take all that waits for them when it is their turn: with few at work the
// others have more to take, and what is done once for all of it is done less often.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <mutex>

namespace plumblane {

// Thread-safe.
class AtOnce {
 public:
  // REQUIRES: at least one.
  explicit AtOnce(size_t most) : free_(most) {}

  // A place among them from the constructor, which waits for it, to the destructor.
  class Place {
   public:
    // None: there is no limit. `all` must outlive it.
    explicit Place(AtOnce* all) : all_(all) {
      if (all_ != nullptr) all_->Enter();
    }
    ~Place() {
      if (all_ != nullptr) all_->Leave();
    }
    Place(const Place&) = delete;
    Place& operator=(const Place&) = delete;

   private:
    AtOnce* const all_;
  };

 private:
  struct Waiting {
    std::condition_variable called;
    bool is_called = false;
  };

  void Enter() {
    std::unique_lock lock(mutex_);
    if (free_ > 0) {
      --free_;
      return;
    }
    Waiting mine;
    waiting_.push_back(&mine);
    mine.called.wait(lock, [&mine] { return mine.is_called; });
  }

  void Leave() {
    const std::lock_guard lock(mutex_);
    if (waiting_.empty()) {
      ++free_;
      return;
    }
    waiting_.front()->is_called = true;
    waiting_.front()->called.notify_one();
    waiting_.pop_front();
  }

  std::mutex mutex_;
  size_t free_;                   // guarded by mutex_; 0 while any waits
  std::deque<Waiting*> waiting_;  // guarded by mutex_
};

}  // namespace plumblane
