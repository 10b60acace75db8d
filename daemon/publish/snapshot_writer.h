// Writes all scores to two files every so often, for tools that only read files: `scores.csv` and
// `scores.json`, the same as `plumblane export scores` gives.
//
// Each file is replaced whole: written beside, synced, renamed. Both are of the same moment; who
// reads between the two renames sees one of them older, as their times say. A failure is logged
// when it begins, told by state(), and tried again at the next turn; it stops nothing.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "engine/desk.h"

namespace plumblane {

struct SnapshotOptions {
  std::string directory;  // made when missing; "" = no files
  int64_t every_seconds = 300;
};

class SnapshotWriter {
 public:
  // `engine` must outlive it.
  SnapshotWriter(Desk& engine, SnapshotOptions options)
      : engine_(engine), options_(std::move(options)) {}
  ~SnapshotWriter() { Stop(); }
  SnapshotWriter(const SnapshotWriter&) = delete;
  SnapshotWriter& operator=(const SnapshotWriter&) = delete;

  // Without a thread: writes now. What failed, "" = nothing.
  std::string Step();

  // Writes now and then every so often, until Stop. Nothing without a directory.
  void Start();
  void Stop();

  struct State {
    std::optional<Instant> last_write;  // wall time
    std::string failure;                // of the last attempt, "" = it did not fail
    int64_t failures = 0;               // since the start
  };
  State state() const;  // thread-safe
  const SnapshotOptions& options() const { return options_; }

 private:
  std::string Write() const;
  void Run();

  Desk& engine_;
  const SnapshotOptions options_;
  mutable std::mutex mutex_;
  std::condition_variable stopping_;
  bool stop_ = false;  // guarded by mutex_
  State state_;        // guarded by mutex_
  std::thread thread_;
};

}  // namespace plumblane
