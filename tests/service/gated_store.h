// A memory store whose writes wait at a gate, so that a test decides when the disk is done.
#pragma once

#include <condition_variable>
#include <mutex>

#include "storage/memory_store.h"

namespace plumblane::test {

class GatedStore final : public Store {
 public:
  std::shared_ptr<const Snapshot> TakeSnapshot() const override { return store_.TakeSnapshot(); }

  absl::Status Write(const Batch& batch, bool sync) override {
    std::unique_lock lock(mutex_);
    ++waiting_;
    changed_.notify_all();
    changed_.wait(lock, [this] { return open_; });
    --waiting_;
    if (broken_) return absl::UnavailableError("the disk is gone");
    return store_.Write(batch, sync);
  }

  void Close() { Set(open_, false); }
  void Open() { Set(open_, true); }
  // From now on every write fails.
  void Break() { Set(broken_, true); }

  // Returns when a write waits at the closed gate.
  void AwaitWrite() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return waiting_ > 0; });
  }

 private:
  void Set(bool& flag, bool value) {
    std::lock_guard lock(mutex_);
    flag = value;
    changed_.notify_all();
  }

  MemoryStore store_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool open_ = true, broken_ = false;  // guarded by mutex_
  int waiting_ = 0;                    // guarded by mutex_
};

}  // namespace plumblane::test
