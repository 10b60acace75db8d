// A simulated disk under a store: what was written and not synced may be lost, a write may fail
// and be there all the same, reads fail, space runs out. All of it drawn from one generator.
#pragma once

#include <absl/status/status.h>

#include <deque>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "storage/memory_store.h"

namespace plumblane::test {

// Draws of one seed. All parts of a simulation share one, so that the seed repeats everything.
class Dice {
 public:
  explicit Dice(uint64_t seed) : random_(seed) {}
  int Below(int n) { return static_cast<int>(random_() % static_cast<uint64_t>(n)); }
  bool Chance(int percent) { return Below(100) < percent; }
  std::mt19937_64& generator() { return random_; }

 private:
  std::mt19937_64 random_;
};

// How a disk breaks its word: what a simulation must notice.
enum class Lie {
  kNone,
  kNoSync,     // what was synced is lost like the rest
  kTornBatch,  // a batch may be kept in part
};

// A store of which a crash leaves what was synced, and a first part of what was written after.
class SimulatedDisk final : public Store {
 public:
  SimulatedDisk(Dice& dice, Lie lie) : dice_(dice), lie_(lie) {}

  std::shared_ptr<const Snapshot> TakeSnapshot() const override;
  absl::Status Write(const Batch& batch, bool sync) override;

  // From now on: so many writes succeed, then none (-1 = no end); with `full` for lack of space, so
  // that nothing of the failed write is there, else it may be. So many reads, then none.
  void FailAfter(int writes, bool full);
  void FailReadsAfter(int reads) { reads_left_ = reads; }

  // The power goes, or (`process_only`) the process alone: then all that was written is kept.
  // Afterwards the disk works.
  void Crash(bool process_only);

  int writes() const { return writes_; }

 private:
  friend class SimulatedSnapshot;
  // False: this read fails, and all after it.
  bool Reads() const;

  Dice& dice_;
  const Lie lie_;
  MemoryStore seen_;     // what the running process sees
  MemoryStore durable_;  // what is kept for certain
  std::deque<Batch> unsynced_;
  int writes_left_ = -1;
  bool full_ = false;
  mutable int reads_left_ = -1;
  int writes_ = 0;
};

// All of a store.
Batch EverythingIn(const Store& store);

}  // namespace plumblane::test
