#include "base/stop_event.h"

#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <cassert>
#include <climits>

namespace plumblane {

StopEvent::StopEvent() : fd_(eventfd(0, EFD_CLOEXEC)) { assert(fd_ >= 0); }

StopEvent::~StopEvent() { close(fd_); }

void StopEvent::Set() { eventfd_write(fd_, 1); }

bool StopEvent::WaitFor(std::chrono::milliseconds time) const {
  pollfd waited{fd_, POLLIN, 0};
  const auto millis = std::clamp<int64_t>(time.count(), 0, INT_MAX);
  return poll(&waited, 1, static_cast<int>(millis)) > 0;
}

}  // namespace plumblane
