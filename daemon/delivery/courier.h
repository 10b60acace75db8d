// Takes notices to one sink, in order, at least once each.
//
// The notices themselves, numbered and kept for good, are the outbox; all that is kept of a sink is
// the cursor up to which it has been handled, logged through the engine like anything else once an
// attempt has succeeded. So a hard stop at any moment sends at most the last one again, and a sink
// that was out of reach for days goes on where it was. A sink that is new begins after the latest
// notice: it is not sent the past. Quiet notices (IsQuiet) are passed over.
//
// A failure is waited out (backoff.h; at least as long as the receiver asked for) and tried again
// without end; a message refused kRefusalsToGiveUp times in a row is given up, counted and logged;
// a receiver that wants no more is left alone until the daemon starts again. Waits are on the
// steady clock: a clock on the wall that jumps changes nothing but when a digest is due.
#pragma once

#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "delivery/backoff.h"
#include "delivery/sink.h"
#include "engine/desk.h"
#include "engine/notice_reader.h"

namespace plumblane {

inline constexpr int kRefusalsToGiveUp = 3;
inline constexpr size_t kAttemptsKept = 100;
inline constexpr size_t kMostInDigest = 200;

// A way out.
struct Route {
  std::string name;  // what its cursor is kept under
  std::unique_ptr<Sink> sink;
  // Send all that was told before this hour (UTC) of a day at once, when it has come; none = each
  // notice by itself, at once.
  std::optional<int> digest_hour = {};
  Backoff backoff = {};
};

struct RouteState {
  struct Attempt {
    Instant time;
    int64_t cursor = 0;  // of its last notice
    size_t notices = 0;
    SendResult result;
  };
  std::string name;
  bool stopped = false;
  std::optional<Instant> next_attempt;  // after a failure
  int64_t handled = 0, backlog = 0;     // the last cursor, and notices after it
  int64_t refused = 0;                  // notices given up
  std::deque<Attempt> attempts;         // latest first
};

// The last full hour `hour` (0 to 23, UTC) of a day, at or before `now`.
Instant LastDigest(Instant now, int hour);

// Step belongs to one thread; state() is for any.
class Courier {
 public:
  using Write = std::function<Message(int64_t cursor, const AlertNotice&, const ToldAlert& after)>;

  // `engine` must outlive it.
  Courier(Desk& engine, Write write, Route route)
      : engine_(engine), write_(std::move(write)), route_(std::move(route)) {}

  // Makes at most one attempt; how long to wait before the next step.
  std::chrono::milliseconds Step(const StopEvent& stop);

  RouteState state() const;

 private:
  absl::StatusOr<bool> Gather(const View& view);
  absl::Status Keep(int64_t cursor);
  std::chrono::milliseconds Attempt(const StopEvent& stop);
  std::chrono::milliseconds Judge(const SendResult& result);
  void GiveUp();
  void Handled();
  void Complain(const absl::Status& status);

  Desk& engine_;
  const Write write_;
  const Route route_;
  NoticeReader reader_;
  std::optional<int64_t> handled_;   // what was kept of it may lag behind
  std::optional<Message> next_;      // read, not yet in `batch_`
  int64_t read_through_ = 0;         // all up to it is in `batch_`, handled or quiet
  std::vector<Message> batch_;       // being sent
  int failures_ = 0, refusals_ = 0;  // of `batch_`, in a row
  bool complained_ = false;

  mutable std::mutex mutex_;
  RouteState state_;  // guarded by mutex_
};

}  // namespace plumblane
