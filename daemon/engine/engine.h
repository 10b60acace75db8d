// The engine: one writer, many readers, the clock.
//
// Submissions wait in a bounded queue. One committer thread takes all that is waiting, appends it
// to the log as one entry (synced), applies it (orders, cells, position: one atomic write) and then
// answers each submission. Readers get a View of the latest applied entry and never wait.
//
// After a failed write nothing is acknowledged any more by this engine: pending and later
// submissions get UNAVAILABLE ("outcome unknown, send again"), questions go on. What was logged
// and not applied is applied on the next start.
//
// Where several daemons share a log (`ownership`), the engine follows: it applies what the owner of
// the log appends and refuses submissions, saying where they are taken. When there is no owner it
// becomes that, and takes submissions once all that the one before appended is applied. An owner
// that is fenced, or whose append has an unknown outcome, follows again.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <span>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "base/clock.h"
#include "engine/applier.h"
#include "engine/catalog.h"
#include "engine/memory.h"
#include "engine/records.h"
#include "engine/shared_log.h"
#include "engine/submission.h"
#include "engine/view.h"
#include "eventlog/event_log.h"
#include "eventlog/ownership.h"
#include "storage/store.h"

namespace plumblane {

enum class ClockMode {
  kWall,
  kEvents,  // now = the latest event time ever taken
};

struct EngineOptions {
  ReadRules rules;
  ClockMode clock_mode = ClockMode::kWall;
  // Submissions are refused with "no room" while this many events wait.
  size_t queue_events = 50'000;
  // One log entry holds about this many events at the most.
  size_t entry_events = 32'000;
  // Orders folded at a time when the fold rules changed.
  size_t refold_orders = 10'000;
  // Decoded cells kept in memory.
  size_t series_bytes = 256 << 20;
  // Decoded orders and pages of cells that the writer keeps.
  size_t writer_bytes = 128 << 20;
  // Entries that stay in the log after they were applied. Where they reach back to the first, audit
  // applies them all again (verify.h).
  uint64_t kept_entries = 16;
  // Called when a shared log cannot be followed any more, for good.
  std::function<void(const absl::Status&)> lost_the_log = [](const absl::Status&) {};
  // Given the hash of all stored cells as of every so many entries, by a thread of its own, so that
  // daemons that share a log can compare; none = not counted.
  std::function<void(uint64_t sequence, uint64_t hash)> compare_cells;
  uint64_t compare_entries = 10'000;
};

// Thread-safe, except Start and the destructor.
class Engine {
 public:
  // All but `options` must outlive the engine. No `ownership`: the log is this engine's alone.
  Engine(Store& store, EventLog& log, const Clock& wall_clock, const EngineOptions& options,
         Ownership* ownership = nullptr);
  ~Engine();
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

  using Answer = std::function<void(const Receipt&)>;
  // Queues a submission; an empty one only waits its turn. `answer` is called once, from the
  // committer, when it is durable and applied or has failed; it must be quick and must not call the
  // engine's Stop. False: no room, `submission` is left as it was and `answer` will not be called;
  // use WhenRoom.
  bool Submit(Submission&& submission, Answer answer);

  // Calls `ready` once, from the committer or at once, when there may be room again.
  void WhenRoom(std::function<void()> ready);

  View Look() const;

  // Wall time, for checking how far ahead an event lies and for receive times.
  Instant WallNow() const { return wall_clock_.Now(); }
  ClockMode clock_mode() const { return options_.clock_mode; }
  size_t QueuedEvents() const;
  // False after a failed write, while told to refuse, before Start and after Stop.
  bool AcceptsEvents() const;

  // Until told "", submissions of others get RESOURCE_EXHAUSTED with these words; those that only
  // tell of alerts and their delivery are taken. What already waits is written.
  void Refuse(std::string why);
  // Why events are refused, "" = they are not.
  std::string refusal() const;

  // None: the log is this engine's alone.
  std::optional<SharedLog> shared_log() const;

 private:
  struct Waiting {
    Submission submission;
    std::string encoded;  // its content
    Answer answer;
  };

  using Progress = std::function<void()>;
  absl::Status CheckFormat(const Progress& still_at_it);
  absl::Status Replay(const Progress& still_at_it);
  absl::Status CatchUp(const Progress& still_at_it);
  absl::Status WriteApplied(const Batch& batch, uint64_t sequence);
  absl::Status TrimBelow(uint64_t sequence);
  // Until this engine may append; false when stopped or failed.
  bool Follow();
  absl::Status FollowOnce();
  void CompareCells(uint64_t sequence, std::shared_ptr<const Snapshot> snapshot);
  absl::Status WhyRefused() const;
  absl::Status FinishTakingBack(const Progress& still_at_it);
  absl::Status Refold(Format format, const Progress& still_at_it);
  void Commit();
  // One entry of what was taken; false after a failed write.
  bool CommitOne(std::vector<Waiting> taken);
  std::vector<Waiting> TakeWaiting();
  // `encoded` is `content`, piece by piece.
  absl::StatusOr<Applied> LogAndApply(std::span<const std::string_view> encoded,
                                      Submission&& content);
  void Reply(std::vector<Waiting>& taken, const Applied& applied);
  void Publish(const Catalog& catalog, const std::shared_ptr<const Cells>& changes);
  void Fail(const absl::Status& why, std::vector<Waiting> taken);
  void StepDown(const absl::Status& why, std::vector<Waiting> taken);

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
  WritersMemory writers_memory_;  // the committer's, and before it starts of the one who replays
  std::thread committer_;
  std::thread comparing_;  // started and joined by whoever applies entries
};

}  // namespace plumblane
