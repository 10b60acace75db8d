// An engine for each partition of a log that daemons share, as one desk.
//
// A submission is divided by partition (split.h). What belongs to a partition that is owned here
// goes to its engine, the rest to the daemon that owns it; when all of it is durable and applied
// where it is owned the receipts are put together to one. When a part fails the whole has failed
// with an unknown outcome and is to be handed in again: repeats change nothing. Of what is more
// than events the answer comes when it is to be seen here as well.
//
// A view joins the states of all partitions as they are here, followed or owned: each whole by
// itself, of moments that shared_log() tells. Its number of entries is the sum of theirs.
//
// Each engine has a thread of its own. They share what may be kept in memory, and the room in the
// queue.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/cell_changes.h"
#include "engine/desk.h"
#include "engine/engine.h"
#include "engine/joined_catalog.h"
#include "engine/split.h"
#include "storage/prefixed_store.h"

namespace plumblane {

// Hands parts of submissions to the daemons that own their partitions. Thread-safe.
class OtherDesks {
 public:
  virtual ~OtherDesks() = default;

  // `answers` is called once, at once or from any thread, with a receipt for each part.
  // UNAVAILABLE: the outcome is unknown, or that daemon does not take it. `parts` are read before
  // this returns.
  using Answers = std::function<void(std::span<const Receipt>)>;
  virtual void Submit(const std::string& address, std::span<const PartOfSubmission* const> parts,
                      Answers answers) = 0;
};

// Thread-safe, except Start and the destructor.
class ManyEngines final : public Desk {
 public:
  // All but `options` must outlive it, `others` all answers too. REQUIRES: at least two partitions.
  ManyEngines(Store& store, EventLog& log, const Clock& wall_clock, const EngineOptions& options,
              uint32_t partitions, Ownership& ownership, OtherDesks& others);
  ~ManyEngines() override;
  ManyEngines(const ManyEngines&) = delete;
  ManyEngines& operator=(const ManyEngines&) = delete;

  // As Engine::Start, of all.
  absl::Status Start(const std::function<void()>& still_at_it = [] {});
  void Stop();
  void BeginToStop();  // as Engine's

  // What another daemon hands on, whose partition is owned here. UNAVAILABLE: it is not, or the
  // outcome is unknown.
  void TakeHere(uint32_t partition, Submission&& content, Answer answer);

  // Gives `take` all of a partition's state as of one entry, record by record, until it returns
  // false. NOT_FOUND: it is not held here.
  using TakeRecord = std::function<bool(Space, std::string_view key, std::string_view value)>;
  absl::Status ReadState(uint32_t partition, const TakeRecord& take) const;

  bool Submit(Submission&& submission, Answer answer) override;
  void WhenRoom(std::function<void()> ready) override;
  View Look() const override;
  Instant WallNow() const override { return wall_clock_.Now(); }
  ClockMode clock_mode() const override { return options_.clock_mode; }
  size_t QueuedEvents() const override;
  bool AcceptsEvents() const override;
  void Refuse(std::string why) override;
  std::string refusal() const override;
  std::optional<SharedLog> shared_log() const override;

 private:
  struct Part {
    std::unique_ptr<PrefixedStore> store;
    std::unique_ptr<Engine> engine;
  };
  class Gathering;
  // Answers that wait until an entry is applied here.
  struct Unseen {
    uint64_t sequence;
    std::function<void()> answer;
  };

  void Published(uint32_t partition, const std::shared_ptr<const Snapshot>& snapshot,
                 const std::shared_ptr<const Catalog>& catalog, const CellChanges& changes);
  void Replaced(uint32_t partition, const std::shared_ptr<const Snapshot>& snapshot,
                const std::shared_ptr<const Catalog>& catalog);
  using Parts = std::vector<PartOfSubmission>;
  void Hand(const std::shared_ptr<Parts>& parts, const std::shared_ptr<Gathering>& gathering);
  // Those of `parts` with these places, to the daemon there.
  void HandOn(const std::string& address, const std::vector<size_t>& places,
              const std::shared_ptr<Parts>& parts, const std::shared_ptr<Gathering>& gathering);
  void WhenSeen(uint32_t partition, uint64_t sequence, std::function<void()> answer);
  void TakeTurn(Answer answer);
  void MakeRoom(size_t events);

  const Clock& wall_clock_;
  const EngineOptions options_;
  const Ownership& ownership_;
  OtherDesks& others_;
  std::shared_ptr<Memory> memory_;  // guarded by joining_mutex_, and by seen_mutex_
  std::vector<Part> parts_;

  mutable std::mutex seen_mutex_;
  std::vector<std::shared_ptr<const Snapshot>> snapshots_;  // guarded by seen_mutex_
  std::vector<std::shared_ptr<const Catalog>> catalogs_;    // guarded by seen_mutex_
  uint64_t sequence_ = 0;                                   // guarded by seen_mutex_
  std::vector<std::vector<Unseen>> unseen_;                 // guarded by seen_mutex_

  mutable std::mutex joining_mutex_;                // taken before seen_mutex_
  mutable JoinedCatalog joining_;                   // guarded by joining_mutex_
  mutable std::shared_ptr<const Snapshot> whole_;   // guarded by joining_mutex_
  mutable std::shared_ptr<const Catalog> catalog_;  // guarded by joining_mutex_

  mutable std::mutex room_mutex_;
  size_t handed_in_ = 0;                           // events; guarded by room_mutex_
  std::vector<std::function<void()>> wants_room_;  // guarded by room_mutex_
  bool stopped_ = true;                            // written with room_mutex_ and seen_mutex_
};

}  // namespace plumblane
