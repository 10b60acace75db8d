// The copy of the data that a daemon of a cluster keeps: what the log in etcd is trimmed below must
// be in one, and a daemon that is new begins with one. It is made anew now and then, when there
// are entries that it does not hold, and told of once it was read back.
#pragma once

#include <absl/status/status.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "base/stop_event.h"
#include "engine/desk.h"
#include "service/peers.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {

class StandingCopy {
 public:
  struct Options {
    std::string directory;
    std::chrono::seconds every{300};
    // Of each partition all entries up to this one are in it. What was last told; none = nothing.
    std::vector<uint64_t> holds = {};
    std::function<void(const std::vector<uint64_t>&)> tell;
  };
  // Both references must outlive it.
  StandingCopy(const Desk& engine, DiskStore& store, Options options);
  ~StandingCopy() { Stop(); }
  StandingCopy(const StandingCopy&) = delete;
  StandingCopy& operator=(const StandingCopy&) = delete;

  void Start();
  void Stop();

  // All its files, once the copy that is being made is whole; no other is made meanwhile. Errors:
  // NOT_FOUND when there is none yet, CANCELLED when `take` wants no more, UNAVAILABLE when it
  // cannot be read. Thread-safe.
  absl::Status Read(const TakeCopyPiece& take);

 private:
  absl::Status Make();
  std::vector<uint64_t> Applied() const;

  const Desk& engine_;
  DiskStore& store_;
  const Options options_;
  std::mutex files_;             // held by who makes or reads them
  std::vector<uint64_t> holds_;  // guarded by files_
  StopEvent stop_;
  std::thread thread_;
};

}  // namespace plumblane
