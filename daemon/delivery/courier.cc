#include "delivery/courier.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <future>
#include <utility>

namespace plumblane {
namespace {

using std::chrono::milliseconds;

constexpr milliseconds kLookEvery{500};
constexpr milliseconds kAtOnce{0};

}  // namespace

Instant LastDigest(Instant now, int hour) {
  const int64_t into_day = int64_t{hour} * 3'600'000;
  return StartOf(DayOf(now - into_day)) + into_day;
}

RouteState Courier::state() const {
  const View view = engine_.Look();
  const int64_t last = view.catalog().alerts->last_cursor;
  const std::lock_guard lock(mutex_);
  RouteState state = state_;
  state.name = route_.name;
  const auto kept = view.catalog().delivered.find(route_.name);
  if (kept == view.catalog().delivered.end()) return state;  // not set up yet
  state.handled = std::max(state.handled, kept->second);
  state.backlog = std::max<int64_t>(0, last - state.handled);
  return state;
}

milliseconds Courier::Step(const StopEvent& stop) {
  if (const auto shared = engine_.shared_log(); shared && shared->follows) {
    // The owner of the log sends; what it has handled is in the log.
    handled_.reset();
    next_.reset();
    batch_.clear();
    reader_ = NoticeReader();
    read_through_ = 0;
    return kLookEvery;
  }
  if (!engine_.AcceptsEvents()) return kLookEvery;
  const View view = engine_.Look();
  const auto kept = view.catalog().delivered.find(route_.name);
  if (!handled_) {
    handled_ =
        kept == view.catalog().delivered.end() ? view.catalog().alerts->last_cursor : kept->second;
  }
  if (kept == view.catalog().delivered.end() || kept->second < *handled_) {
    if (const absl::Status status = Keep(*handled_); !status.ok()) {
      Complain(status);
      return kLookEvery;
    }
    return kAtOnce;
  }
  {
    const std::lock_guard lock(mutex_);
    if (state_.stopped) return kLookEvery;
  }
  const auto ready = Gather(view);
  if (!ready.ok()) {
    Complain(ready.status());
    return kLookEvery;
  }
  complained_ = false;
  if (!*ready) return kept->second < *handled_ ? kAtOnce : kLookEvery;
  return Attempt(stop);
}

// Fills `batch_` with what is to be sent; false when there is nothing yet.
absl::StatusOr<bool> Courier::Gather(const View& view) {
  if (!batch_.empty()) return true;
  if (reader_.cursor() < *handled_) {
    if (absl::Status status = reader_.GoTo(view, *handled_); !status.ok()) return status;
  }
  const size_t most = route_.digest_hour ? kMostInDigest : 1;
  const Instant due =
      route_.digest_hour ? LastDigest(engine_.WallNow(), *route_.digest_hour) : kLatestInstant;
  while (batch_.size() < most) {
    if (!next_) {
      auto read = reader_.Next(view);
      if (!read.ok()) return read.status();
      if (!*read) break;
      if ((*read)->notice.quiet) {
        read_through_ = (*read)->cursor;
        continue;
      }
      next_ = write_((*read)->cursor, (*read)->notice, *(*read)->after);
    }
    if (next_->time >= due) break;
    read_through_ = next_->cursor;
    batch_.push_back(*std::exchange(next_, std::nullopt));
  }
  if (batch_.empty()) handled_ = std::max(*handled_, read_through_);
  return !batch_.empty();
}

// Waits until it is durable.
absl::Status Courier::Keep(int64_t cursor) {
  Submission submission;
  submission.deliveries.push_back({route_.name, cursor});
  std::promise<absl::Status> kept;
  const bool queued = engine_.Submit(
      std::move(submission), [&kept](const Receipt& receipt) { kept.set_value(receipt.status); });
  if (!queued) return absl::UnavailableError("too many events are waiting");
  return kept.get_future().get();
}

milliseconds Courier::Attempt(const StopEvent& stop) {
  const Instant now = engine_.WallNow();
  const SendResult result = route_.sink->Send(batch_, now, stop);
  if (result.kind == SendResult::Kind::kInterrupted) return kLookEvery;
  {
    const std::lock_guard lock(mutex_);
    state_.attempts.push_front({now, batch_.back().cursor, batch_.size(), result});
    if (state_.attempts.size() > kAttemptsKept) state_.attempts.pop_back();
  }
  const milliseconds wait = Judge(result);
  const std::lock_guard lock(mutex_);
  state_.handled = *handled_;
  state_.next_attempt.reset();
  if (failures_ > 0 && !state_.stopped) state_.next_attempt = engine_.WallNow() + wait.count();
  return wait;
}

milliseconds Courier::Judge(const SendResult& result) {
  const int64_t cursor = batch_.back().cursor;
  switch (result.kind) {
    case SendResult::Kind::kDelivered:
      if (failures_ > 0) {
        spdlog::info("{}: delivers again, notice {}", route_.name, cursor);
      }
      Handled();
      return kAtOnce;
    case SendResult::Kind::kStopped: {
      spdlog::error("{}: the receiver wants no more ({}); nothing is sent to it until restart",
                    route_.name, result.detail);
      const std::lock_guard lock(mutex_);
      state_.stopped = true;
      return kLookEvery;
    }
    case SendResult::Kind::kRefused:
      if (++refusals_ >= kRefusalsToGiveUp) {
        GiveUp();
        return kAtOnce;
      }
      break;
    default:
      refusals_ = 0;
  }
  if (++failures_ == 1) {
    spdlog::warn("{}: notice {} not delivered, tried again: {}", route_.name, cursor,
                 result.detail);
  }
  milliseconds wait = WaitAfter(route_.backoff, route_.name, cursor, failures_);
  if (result.not_before) wait = std::max<milliseconds>(wait, *result.not_before);
  return wait;
}

void Courier::GiveUp() {
  const int64_t cursor = batch_.back().cursor;
  spdlog::error("{}: notice {} was refused {} times and is given up", route_.name, cursor,
                refusals_);
  {
    const std::lock_guard lock(mutex_);
    state_.refused += static_cast<int64_t>(batch_.size());
  }
  Handled();
}

void Courier::Handled() {
  handled_ = read_through_;
  batch_.clear();
  failures_ = refusals_ = 0;
}

void Courier::Complain(const absl::Status& status) {
  if (!complained_) spdlog::error("{}: {}", route_.name, status.ToString());
  complained_ = true;
}

}  // namespace plumblane
