#include "host/watchdog.h"

#include <spdlog/spdlog.h>

#include <utility>

namespace plumblane {

Watchdog::Watchdog(ServiceManager& manager, Check check)
    : manager_(manager), check_(std::move(check)) {
  if (!manager.patience()) return;
  // A check and the pause before it take half of the patience together.
  const auto time = std::chrono::duration_cast<std::chrono::milliseconds>(*manager.patience()) / 4;
  thread_ = std::thread([this, time] { Run(time); });
}

Watchdog::~Watchdog() {
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void Watchdog::Run(std::chrono::milliseconds time) {
  bool was_well = true;
  for (;;) {
    const bool well = check_(time);
    if (well) manager_.AllIsWell();
    if (!well && was_well) {
      spdlog::critical(
          "the writer or a listener does not answer; the service manager is not told that all is "
          "well until they do");
    }
    was_well = well;
    std::unique_lock lock(mutex_);
    if (changed_.wait_for(lock, time, [this] { return stopping_; })) return;
  }
}

}  // namespace plumblane
