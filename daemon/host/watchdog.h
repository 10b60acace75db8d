// Tells the service manager again and again that all is well, as long as it is.
#pragma once

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <thread>

#include "host/service_manager.h"

namespace plumblane {

class Watchdog {
 public:
  // Whether all is well; takes about as long as it is given at the most.
  using Check = std::function<bool(std::chrono::milliseconds)>;

  // Begins, when `manager` wants to hear it; `manager` must outlive it. A failed check is logged
  // and not told; the next one may be.
  Watchdog(ServiceManager& manager, Check check);
  ~Watchdog();
  Watchdog(const Watchdog&) = delete;
  Watchdog& operator=(const Watchdog&) = delete;

 private:
  void Run(std::chrono::milliseconds time);

  ServiceManager& manager_;
  const Check check_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;  // guarded by mutex_
  std::thread thread_;
};

}  // namespace plumblane
