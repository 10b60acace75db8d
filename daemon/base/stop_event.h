// Says once, to any number of waiting threads, that they should come to an end. Waits by poll(2) on
// a file descriptor, so that it can be waited for together with others, and on the steady clock.
//
// Thread-safe.
#pragma once

#include <chrono>

namespace plumblane {

class StopEvent {
 public:
  StopEvent();
  ~StopEvent();
  StopEvent(const StopEvent&) = delete;
  StopEvent& operator=(const StopEvent&) = delete;

  void Set();
  bool is_set() const { return WaitFor(std::chrono::milliseconds(0)); }
  // Whether it was set by then.
  bool WaitFor(std::chrono::milliseconds time) const;
  int fd() const { return fd_; }  // readable once it is set

 private:
  const int fd_;
};

}  // namespace plumblane
