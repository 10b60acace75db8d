// A store that fails or forgets on command, over a memory store.
#pragma once

#include <absl/status/status.h>

#include "storage/memory_store.h"

namespace plumblane::test {

class FaultyStore final : public Store {
 public:
  std::shared_ptr<const Snapshot> TakeSnapshot() const override { return store_.TakeSnapshot(); }

  absl::Status Write(const Batch& batch, bool sync) override {
    if (sync) ++synced_writes;
    if (fail_after >= 0 && fail_after-- == 0) {
      fail_after = 0;
      return absl::UnavailableError("the disk is gone");
    }
    absl::Status status = store_.Write(batch, sync);
    if (!status.ok()) return status;
    // What was not synced is remembered until a sync, to be forgotten by PowerCut.
    if (sync) {
      durable_.Write(pending_, true).IgnoreError();
      pending_.changes.clear();
      return durable_.Write(batch, true);
    }
    pending_.changes.insert(pending_.changes.end(), batch.changes.begin(), batch.changes.end());
    return absl::OkStatus();
  }

  // Gives `left` what a disk would hold after the power is gone: all up to the last synced write.
  void PowerCutInto(MemoryStore& left) const {
    Batch all;
    const auto snapshot = durable_.TakeSnapshot();
    for (int i = 0; i < kSpaceCount; ++i) {
      const Space space = static_cast<Space>(i);
      snapshot
          ->Scan(space, "", "",
                 [&](auto key, auto value) {
                   all.Put(space, std::string(key), std::string(value));
                   return true;
                 })
          .IgnoreError();
    }
    left.Write(all, true).IgnoreError();
  }

  int fail_after = -1;  // this many writes succeed, then all fail; -1 = none fails
  int synced_writes = 0;

 private:
  MemoryStore store_, durable_;
  Batch pending_;
};

}  // namespace plumblane::test
