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
#include "engine/memory.h"
#include "engine/records.h"
#include "engine/submission.h"
#include "engine/view.h"
#include "eventlog/event_log.h"
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
  size_t queue_events = 64'000;
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
};

// Thread-safe, except Start and the destructor.
class Engine {
 public:
  // `store`, `log` and `wall_clock` must outlive the engine.
  Engine(Store& store, EventLog& log, const Clock& wall_clock, const EngineOptions& options);
  ~Engine();
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  // Checks the format of the store, applies what the log holds beyond it, folds again if the rules
  // changed, finishes taking back sends, then starts the committer. Errors: FAILED_PRECONDITION for
  // a store of another version, DATA_LOSS for damage, UNAVAILABLE from the medium. Calls
  // `still_at_it` after each piece of work, so that who waits for a long start knows it goes on.
  absl::Status Start(std::function<void()> still_at_it = [] {});

  // Start and the committer's work without its thread, for a caller that does all in one thread:
  // Open is Start but for the committer; CommitWaiting takes what was submitted, answers it and
  // returns. Not together with Start.
  absl::Status Open(const std::function<void()>& still_at_it = [] {});
  void CommitWaiting();

  // Takes everything that was submitted, then stops the committer. Idempotent.
  void Stop();

  using Answer = std::function<void(const Receipt&)>;
  // Queues a submission; an empty one only waits its turn. `answer` is called once, in turn, when
  // it is durable, applied and to be seen by Look, or has failed; it must be quick and must not
  // call the engine's Stop. False: no room, `submission` is left as it was and `answer` will not be
  // called; use WhenRoom.
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

 private:
  static constexpr uint32_t kPartition = 0;

  struct Waiting {
    Submission submission;
    std::string encoded;  // its content
    Answer answer;
  };
  // An entry that is logged and applied, with what is to be written and who is to be answered.
  struct Unwritten {
    Applied applied;
    std::vector<Waiting> from;
  };

  using Progress = std::function<void()>;
  absl::Status CheckFormat(const Progress& still_at_it);
  absl::Status Replay(const Progress& still_at_it);
  absl::Status FinishTakingBack(const Progress& still_at_it);
  absl::Status Refold(Format format, const Progress& still_at_it);

  void Commit();
  // One step of the committer's work; false when there is no more, or after a failed write.
  // `how` an entry is written while the next is applied: by another thread or, deferred, by this
  // one when Apply first needs what it changed.
  bool CommitNext(bool waits, std::launch how);
  std::vector<Waiting> TakeWaiting(bool waits);
  static Submission JoinContents(std::vector<Waiting>& taken);
  // `encoded` is `content`, piece by piece. Afterwards `unwritten_` is written, or the error is why
  // not.
  absl::StatusOr<Applied> LogAndApply(std::span<const std::string_view> encoded,
                                      Submission&& content, std::launch how);
  absl::Status WriteUnwritten();
  absl::Status WriteOut(const Applied& applied, std::span<Waiting> from);
  static void Reply(std::span<Waiting> taken, const Applied& applied);
  void Publish(const Catalog& catalog, const std::shared_ptr<const Cells>& changes);
  std::shared_ptr<const Snapshot> Published() const;
  // Whoever is not answered yet gets to know.
  void Fail(const absl::Status& why, std::vector<Waiting> taken);

  Store& store_;
  EventLog& log_;
  const Clock& wall_clock_;
  const EngineOptions options_;

  mutable std::mutex queue_mutex_;
  std::condition_variable queue_changed_;
  std::deque<Waiting> queue_;                      // guarded by queue_mutex_
  size_t queued_events_ = 0;                       // guarded by queue_mutex_
  std::vector<std::function<void()>> wants_room_;  // guarded by queue_mutex_
  enum class Phase { kNew, kRunning, kStopping, kStopped, kFailed };
  Phase phase_ = Phase::kNew;  // guarded by queue_mutex_
  std::string refusal_;        // guarded by queue_mutex_

  mutable std::mutex published_mutex_;
  std::shared_ptr<const Snapshot> snapshot_;  // guarded by published_mutex_
  std::shared_ptr<const Catalog> catalog_;    // guarded by published_mutex_

  const std::shared_ptr<Memory> memory_;
  // The committer's, and before it starts of the one who replays.
  WritersMemory writers_memory_;
  std::optional<Unwritten> unwritten_;
  std::thread committer_;
};

}  // namespace plumblane
