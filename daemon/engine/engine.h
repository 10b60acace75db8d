// The engine: one writer, many readers, the clock.
//
// Submissions wait in a bounded queue. One committer thread takes all that is waiting, appends it
// to the log as one entry (synced), applies it (orders, cells, position: one atomic write) and then
// answers each submission; what an entry changes is written and answered while the next, if one
// waits, is applied. Readers get a View of the latest entry written and never wait.
//
// After a failed write nothing is acknowledged any more by this engine: pending and later
// submissions get UNAVAILABLE ("outcome unknown, send again"), questions go on. What was logged
// and not applied is applied on the next start.
//
// Where several daemons share a log (`ownership`), the engine follows: it applies what the owner of
// the log appends and refuses submissions, saying where they are taken. When there is no owner it
// becomes that, and takes submissions once all that the one before appended is applied. An owner
// that is fenced, or whose append has an unknown outcome, follows again.
//
// When orders were purged or erased, a log of its own holds nothing of them when this is answered:
// all entries up to then leave it.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <condition_variable>
#include <deque>
#include <functional>
#include <future>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "base/clock.h"
#include "engine/applier.h"
#include "engine/catalog.h"
#include "engine/desk.h"
#include "engine/engine_options.h"
#include "engine/memory.h"
#include "engine/records.h"
#include "engine/shared_log.h"
#include "engine/submission.h"
#include "engine/view.h"
#include "eventlog/event_log.h"
#include "eventlog/ownership.h"
#include "storage/store.h"

namespace plumblane {

// Thread-safe, except Start and the destructor.
class Engine final : public Desk {
 public:
  // All but `options` must outlive the engine. No `ownership`: the log is this engine's alone.
  Engine(Store& store, EventLog& log, const Clock& wall_clock, const EngineOptions& options,
         Ownership* ownership = nullptr);
  ~Engine() override;
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  // Checks the format of the store, applies what the log holds beyond it, folds again if the rules
  // changed, finishes taking back sends, then starts the committer. Errors: FAILED_PRECONDITION for
  // a store of another version, DATA_LOSS for damage or a log that starts after what the store
  // has, UNAVAILABLE from the medium. With a shared log it only follows, later. Calls
  // `still_at_it` after each piece of work, so that who waits for a long start knows it goes on.
  absl::Status Start(std::function<void()> still_at_it = [] {});

  // Start and the committer's work without its thread, for a caller that does all in one thread:
  // Open is Start but for the committer; CommitWaiting takes what was submitted, answers it and
  // returns. Not together with Start.
  absl::Status Open(const std::function<void()>& still_at_it = [] {});
  void CommitWaiting();

  // Takes everything that was submitted, then stops the committer; lets others own the log.
  // Idempotent.
  void Stop();
  // Has the committer do that without waiting for it; Stop waits.
  void BeginToStop();

  bool Submit(Submission&& submission, Answer answer) override;
  // `ready` is called by the committer, or at once.
  void WhenRoom(std::function<void()> ready) override;

  View Look() const override;

  Instant WallNow() const override { return wall_clock_.Now(); }
  ClockMode clock_mode() const override { return options_.clock_mode; }
  size_t QueuedEvents() const override;
  bool AcceptsEvents() const override;
  void Refuse(std::string why) override;
  std::string refusal() const override;
  std::optional<SharedLog> shared_log() const override;

  // Whether submissions are taken here at the moment, by what was last known.
  bool OwnsItsLog() const;

  // Whether all of the log comes to be seen here (EngineOptions::only_owned).
  bool Holds() const;

 private:
  struct Waiting {
    Submission submission;
    std::string encoded;  // its content
    Answer answer;
    size_t events, sends_begun;  // how many it has
  };
  // An entry that is logged and applied, with what is to be written and who is to be answered.
  struct Unwritten {
    Applied applied;
    std::vector<Waiting> from;
    LogEntry entry;
  };

  using Progress = std::function<void()>;
  absl::Status CheckFormat(const Progress& still_at_it);
  absl::Status Replay(const Progress& still_at_it);
  // These change `out_of_reach` and are OK when the log cannot be reached.
  absl::Status CatchUp(const Progress& still_at_it, absl::Status& out_of_reach);
  absl::Status CatchUpTo(uint64_t tail, Instant as_of, const Progress& still_at_it,
                         absl::Status& out_of_reach);
  // To where it was lately.
  absl::Status LookAtLog(absl::Status& out_of_reach);
  absl::Status FollowOnce(absl::Status& out_of_reach);
  // From what there is here, or from another daemon's state, to the end of a log nobody owns.
  absl::Status TakeUp(absl::Status& out_of_reach);
  absl::Status FetchState();
  bool Follow();  // until this engine may append; false when stopped or failed
  // Whether another daemon is to own the log instead.
  bool ShallLetGo() const;
  absl::Status TrimBelow(uint64_t sequence);
  void CompareCells(uint64_t sequence, std::shared_ptr<const Snapshot> snapshot);
  absl::Status WhyRefused() const;
  absl::Status FinishTakingBack(const Progress& still_at_it);
  absl::Status Refold(Format format, const Progress& still_at_it);

  void Commit();
  // One step of the committer's work; false when there is no more, or after a failed write.
  // `how` an entry is written while the next is applied: by another thread or, deferred, by this
  // one when Apply first needs what it changed.
  bool CommitNext(bool waits, std::launch how);
  // From then on `place` is held.
  std::vector<Waiting> TakeWaiting(bool waits, std::optional<AtOnce::Place>& place);
  // Of a shared log; notes that what it holds by now is from here.
  bool StillOwns();
  static Submission JoinContents(std::vector<Waiting>& taken);
  // `encoded` is the content of `entry`, which is given its time, piece by piece. Afterwards
  // `unwritten_` is written, or the error is why not.
  absl::StatusOr<Applied> LogAndApply(std::span<const std::string_view> encoded, LogEntry& entry,
                                      std::launch how);
  absl::Status WriteUnwritten();
  // Writes what lets orders go, and has all entries so far leave the log, with one more that says
  // nothing, before it is answered. False after a failed write.
  bool WriteAndForget();
  absl::Status WriteOut(const Applied& applied, std::span<Waiting> from);
  static void Reply(std::span<Waiting> taken, const Applied& applied);
  void Publish(const Catalog& catalog, const CellChanges& changes);
  View ViewOf(std::shared_ptr<const Snapshot> its, std::shared_ptr<const Catalog> catalog) const;
  std::shared_ptr<const Snapshot> Published() const;
  // Whoever is not answered yet gets to know.
  void Fail(const absl::Status& why, std::vector<Waiting> taken);
  // Of an append that came to nothing, or may have; as CommitNext.
  bool TurnBack(const absl::Status& why, std::vector<Waiting> taken);

  Store& store_;
  EventLog& log_;
  const Clock& wall_clock_;
  const EngineOptions options_;
  Ownership* const ownership_;

  mutable std::mutex queue_mutex_;
  std::condition_variable queue_changed_;
  std::deque<Waiting> queue_;                      // guarded by queue_mutex_
  size_t queued_events_ = 0;                       // guarded by queue_mutex_
  std::vector<std::function<void()>> wants_room_;  // guarded by queue_mutex_
  enum class Phase { kNew, kFollowing, kRunning, kStopping, kStopped, kFailed };
  // To `phase`; what waits, and `taken`, is answered with `unknown`.
  void GiveBack(Phase phase, const absl::Status& unknown, std::vector<Waiting> taken);
  Phase phase_ = Phase::kNew;  // guarded by queue_mutex_
  std::string refusal_;        // guarded by queue_mutex_

  mutable std::mutex published_mutex_;
  std::shared_ptr<const Snapshot> snapshot_;  // guarded by published_mutex_
  std::shared_ptr<const Catalog> catalog_;    // guarded by published_mutex_
  uint64_t tail_ = 0;                         // guarded by published_mutex_
  std::optional<Instant> as_of_;              // guarded by published_mutex_

  const std::shared_ptr<Memory> memory_;
  // The committer's, and before it starts of the one who replays.
  WritersMemory writers_memory_;
  std::optional<Unwritten> unwritten_;
  size_t entry_events_;                     // in the next entry, about, at the most
  Appended appended_ = Appended::kDurable;  // the last append
  uint64_t synced_through_ = 0;             // where the log is not in the store
  std::thread comparing_;
  std::thread committer_;
};

}  // namespace plumblane
