// Lets old orders go in the background (leaving.h).
//
// One thread. At the start and then once a day it reads all orders, some at a time, and submits
// those that are over for long enough, a thousand an entry at the most: the committer looks again
// and leaves alone what was told of since. It never holds up the committer for longer than such an
// entry. Days are counted back from the latest event, or from now where that is earlier: a clock
// that jumps ahead must not empty the store.
#pragma once

#include <absl/status/status.h>

#include <condition_variable>
#include <mutex>
#include <thread>

#include "engine/desk.h"

namespace plumblane {

class Purger {
 public:
  // `days` = 0: nothing goes. `engine` must outlive it.
  Purger(Desk& engine, int days) : engine_(engine), days_(days) {}
  ~Purger() { Stop(); }
  Purger(const Purger&) = delete;
  Purger& operator=(const Purger&) = delete;

  // Without a thread: what is old by now is gone when this returns. Errors: those of the store;
  // UNAVAILABLE when the engine takes nothing; CANCELLED by Stop. Not while started.
  absl::Status Pass();

  void Start();
  void Stop();

 private:
  void Run();
  bool IsStopping();

  Desk& engine_;
  const int days_;
  std::mutex mutex_;
  std::condition_variable stopping_;
  bool stop_ = false;  // guarded by mutex_
  std::thread thread_;
};

}  // namespace plumblane
