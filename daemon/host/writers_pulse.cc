#include "host/writers_pulse.h"

#include <condition_variable>
#include <mutex>

namespace plumblane {

struct WritersPulse::Asked {
  std::mutex mutex;
  std::condition_variable changed;
  bool answered = false;  // guarded by mutex
};

WritersPulse::WritersPulse(Desk& engine)
    : engine_(engine), entries_(engine.Look().catalog().log_sequence) {}

bool WritersPulse::BeatsWithin(std::chrono::milliseconds time) {
  if (!asked_) {
    asked_ = std::make_shared<Asked>();
    const bool queued = engine_.Submit({}, [asked = asked_](const Receipt&) {
      const std::lock_guard lock(asked->mutex);
      asked->answered = true;
      asked->changed.notify_all();
    });
    if (!queued) asked_.reset();
  }
  bool beats = false;
  if (asked_) {
    std::unique_lock lock(asked_->mutex);
    asked_->changed.wait_for(lock, time, [this] { return asked_->answered; });
    beats = asked_->answered;
    lock.unlock();
    if (beats) asked_.reset();
  }
  // A long queue is worked through entry by entry before the empty submission's turn comes.
  const uint64_t entries = engine_.Look().catalog().log_sequence;
  beats |= entries != entries_;
  entries_ = entries;
  return beats;
}

}  // namespace plumblane
