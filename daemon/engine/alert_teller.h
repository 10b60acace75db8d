// Watches in the background: brings alerts to the latest state and logs what there is to tell.
//
// One thread, which looks for new entries and days and then rests for nine times as long as that
// took, a second at least and a minute at most. It never holds up the committer: it works on a view
// and submits what it found like anybody else.
#pragma once

#include <absl/status/status.h>

#include <condition_variable>
#include <mutex>
#include <thread>

#include "engine/desk.h"

namespace plumblane {

class AlertTeller {
 public:
  // `engine` must outlive it.
  explicit AlertTeller(Desk& engine) : engine_(engine) {}
  ~AlertTeller() { Stop(); }
  AlertTeller(const AlertTeller&) = delete;
  AlertTeller& operator=(const AlertTeller&) = delete;

  // Without a thread: what is so by now is told when this returns, unless the engine takes nothing.
  // Errors: those of the store; UNAVAILABLE when too much is waiting; CANCELLED by Stop. Not while
  // started.
  absl::Status Step();

  // Steps until Stop, which does not wait for a long first replay; errors are logged once and tried
  // again.
  void Start();
  void Stop();

 private:
  void Run();
  bool IsOurs() const;

  Desk& engine_;
  std::mutex mutex_;
  std::condition_variable stopping_;
  bool stop_ = false;  // guarded by mutex_
  std::thread thread_;
};

}  // namespace plumblane
