// Takes connections and hands them to the server; over TCP so many and no more.
//
// The library of this version counts no connections, and is deaf for good once a process had no
// descriptor left to accept one with (CVE-2023-4785). So this accepts them itself: at the limit a
// connection is closed at once, which its client sees as "unavailable"; without a descriptor it
// waits and goes on.
#pragma once

#include <absl/status/status.h>

#include <sys/types.h>
#include <cstdint>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <unordered_map>
#include <vector>

#include "base/stop_event.h"

namespace plumblane {

// How many connections are open over all doors. A connection counts until its descriptor is another
// file or none; that is looked up only when there is no room. Thread-safe.
class ConnectionCount {
 public:
  explicit ConnectionCount(int64_t most) : most_(static_cast<size_t>(most)) {}
  // False: too many are open.
  bool Add(int fd);

 private:
  const size_t most_;
  std::mutex mutex_;
  std::unordered_map<int, ino_t> open_;  // the file behind each descriptor; guarded by mutex_
};

class FrontDoor {
 public:
  // Takes over the descriptor, which does not block.
  using Take = std::function<void(int fd)>;

  // `count` must outlive this; null = none are turned away.
  explicit FrontDoor(ConnectionCount* count) : count_(count) {}
  ~FrontDoor() { Close(); }
  FrontDoor(const FrontDoor&) = delete;
  FrontDoor& operator=(const FrontDoor&) = delete;

  // Binds to all addresses of HOST:PORT; port 0 is one that is free. UNAVAILABLE when it cannot.
  absl::Status Bind(const std::string& address);
  int port() const { return port_; }
  // Makes a Unix socket for the user and the group, which goes when this is closed. REQUIRES: there
  // is no file at `path`.
  absl::Status BindSocket(const std::string& path);

  // Accepts from now on, on a thread of its own.
  void Open(Take take);
  // Accepts no more. Connections stay.
  void Close();

 private:
  void Run();
  bool Accept(int listener);

  ConnectionCount* const count_;
  std::vector<int> listeners_;
  int port_ = 0;
  std::string path_;  // of the socket
  StopEvent stop_;
  Take take_;
  bool is_full_ = false;  // told so, and nothing was taken since
  std::thread thread_;
};

}  // namespace plumblane
