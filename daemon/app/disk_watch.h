// Watches the disk under the data: refuses events before it is full, and ends the process after a
// write that failed.
//
// Room: with less than the least, events are refused (RESOURCE_EXHAUSTED) and questions answered,
// until there is twice as much. A quarter of the least is kept as ballast, given up with less than
// half of the least. A write that failed: nothing is acknowledged any more (the store and the
// engine see to that), and whether it is there is known only when the store is opened again, so the
// process ends for its supervisor to start another. On a full disk that waits until there is room,
// and questions are answered meanwhile; after any other failure it is a fifth of a second, so that
// who waits is still told.
#pragma once

#include <absl/status/status.h>

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <string>
#include <thread>

#include "app/ballast.h"
#include "engine/desk.h"
#include "eventlog/anchor.h"

namespace plumblane {

// Thread-safe, except Start and Stop.
class DiskWatch {
 public:
  struct Options {
    std::string directory;
    int64_t least_free_bytes = 0;
    // Bytes that may still be written there; negative when that cannot be told.
    std::function<int64_t()> free_bytes;
    // Ends the process at once, with that code.
    std::function<void(int)> end;
    std::chrono::milliseconds every{1000};
  };
  // Gives up the ballast at once when there is too little room to open the data.
  explicit DiskWatch(Options options);
  ~DiskWatch() { Stop(); }
  DiskWatch(const DiskWatch&) = delete;
  DiskWatch& operator=(const DiskWatch&) = delete;

  // A write failed; RESOURCE_EXHAUSTED: for lack of room.
  void Failed(const absl::Status& why);
  bool has_failed() const;

  // Looks once, then every second. Both must outlive Stop; no `log`: there is no anchor.
  void Start(Desk& engine, const AnchoredLog* log);
  void Stop();

 private:
  void Run();
  // How long until the next look.
  std::chrono::milliseconds Look();
  void LookForRoom();
  void KeepBallast();
  void GiveUpBallast();
  void LookAtAnchor();

  const Options options_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  absl::Status failure_;  // guarded by mutex_
  bool stop_ = false;     // guarded by mutex_
  // The thread's.
  Desk* engine_ = nullptr;
  const AnchoredLog* log_ = nullptr;
  bool is_low_ = false, failure_seen_ = false;
  Ballast ballast_;
  std::string ballast_failure_;
  std::string anchor_failure_;
  std::thread thread_;
};

// By the file system; what only the superuser may use is not counted.
int64_t FreeBytesAt(const std::string& directory);

// What should stay free on a disk of so many bytes, when nobody says: a twentieth, at most 1 GiB.
int64_t UsualLeastFree(int64_t disk_bytes);
// As set, or with a negative setting as usual for the disk under `directory`; 1 GiB when its size
// cannot be told.
int64_t LeastFree(int64_t set_mib, const std::string& directory);

}  // namespace plumblane
