#include "simulation/disk.h"

#include <cstdlib>
#include <utility>

namespace plumblane::test {

class SimulatedSnapshot final : public Snapshot {
 public:
  SimulatedSnapshot(const SimulatedDisk& disk, std::shared_ptr<const Snapshot> seen)
      : disk_(disk), seen_(std::move(seen)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    if (!disk_.Reads()) return Failed();
    return seen_->Get(space, key);
  }
  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    if (!disk_.Reads()) return Failed();
    return seen_->GetAll(space, keys);
  }
  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    if (!disk_.Reads()) return Failed();
    return seen_->Scan(space, prefix, from, each);
  }

 private:
  static absl::Status Failed() { return absl::UnavailableError("reading failed"); }

  const SimulatedDisk& disk_;
  const std::shared_ptr<const Snapshot> seen_;
};

std::shared_ptr<const Snapshot> SimulatedDisk::TakeSnapshot() const {
  return std::make_shared<SimulatedSnapshot>(*this, seen_.TakeSnapshot());
}

bool SimulatedDisk::Reads() const {
  if (reads_left_ > 0) --reads_left_;
  return reads_left_ != 0;
}

void SimulatedDisk::FailAfter(int writes, bool full) {
  writes_left_ = writes;
  full_ = full;
}

absl::Status SimulatedDisk::Write(const Batch& batch, bool sync) {
  ++writes_;
  if (writes_left_ == 0) {
    if (!full_ && dice_.Chance(50)) unsynced_.push_back(batch);
    return full_ ? absl::ResourceExhaustedError("the disk is full")
                 : absl::UnavailableError("writing failed");
  }
  if (writes_left_ > 0) --writes_left_;
  absl::Status written = seen_.Write(batch, sync);
  unsynced_.push_back(batch);
  if (sync && lie_ != Lie::kNoSync) {
    for (; !unsynced_.empty(); unsynced_.pop_front()) {
      written.Update(durable_.Write(unsynced_.front(), true));
    }
  }
  return written;
}

void SimulatedDisk::Crash(bool process_only) {
  const int all = static_cast<int>(unsynced_.size());
  const int kept = process_only ? all : dice_.Below(all + 1);
  Batch left;
  for (int i = 0; i < kept; ++i) {
    Batch& batch = unsynced_[static_cast<size_t>(i)];
    if (lie_ == Lie::kTornBatch && i + 1 == kept) {
      const int changes = static_cast<int>(batch.changes.size());
      batch.changes.resize(static_cast<size_t>(dice_.Below(changes + 1)));
    }
    std::move(batch.changes.begin(), batch.changes.end(), std::back_inserter(left.changes));
  }
  unsynced_.clear();
  if (!durable_.Write(left, true).ok()) std::abort();
  // What the process saw and is gone must not be seen again.
  Batch gone;
  for (const Batch::Change& one : EverythingIn(seen_).changes) gone.Delete(one.space, one.key);
  const Batch kept_now = EverythingIn(durable_);
  gone.changes.insert(gone.changes.end(), kept_now.changes.begin(), kept_now.changes.end());
  if (!seen_.Write(gone, true).ok()) std::abort();
  writes_left_ = reads_left_ = -1;
  full_ = false;
}

Batch EverythingIn(const Store& store) {
  Batch all;
  const auto snapshot = store.TakeSnapshot();
  for (int i = 0; i < kSpaceCount; ++i) {
    const Space space = static_cast<Space>(i);
    const absl::Status scanned = snapshot->Scan(space, "", "", [&](auto key, auto value) {
      all.Put(space, std::string(key), std::string(value));
      return true;
    });
    if (!scanned.ok()) std::abort();
  }
  return all;
}

}  // namespace plumblane::test
