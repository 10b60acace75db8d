// The service manager that started the daemon: systemd, or none.
//
// Spoken is sd_notify(3): lines in one datagram to the socket $NOTIFY_SOCKET. Without libsystemd,
// as that page proposes: its own dependencies would be loaded into the daemon for a single
// sendto(2).
#pragma once

#include <chrono>
#include <mutex>
#include <optional>
#include <string>

#include "base/stopwatch.h"

namespace plumblane {

// Thread-safe. What cannot be sent is not sent: the manager then does what it does with the silent.
class ServiceManager {
 public:
  // As the environment says: NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID.
  ServiceManager();
  ~ServiceManager();
  ServiceManager(const ServiceManager&) = delete;
  ServiceManager& operator=(const ServiceManager&) = delete;

  // How long it waits for AllIsWell before it ends the daemon; none: for ever.
  std::optional<std::chrono::microseconds> patience() const { return patience_; }

  // A start goes on and takes long. Sent at most once a second; asks for half a minute each time.
  void StillStarting();
  void Ready();
  void AllIsWell();
  // A stop was asked for and takes as long as `within` at the most.
  void Stopping(std::chrono::seconds within);

 private:
  void Send(const std::string& lines) const;

  std::string address_;  // a path, or 0 and a name; empty: there is no manager
  int socket_ = -1;      // open all the time, so that it works when no descriptor is left
  std::optional<std::chrono::microseconds> patience_;
  std::mutex mutex_;
  std::optional<Stopwatch> since_last_;  // guarded by mutex_
};

}  // namespace plumblane
