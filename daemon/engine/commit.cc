// The committer's half of the engine.
#include <absl/strings/str_cat.h>
#include <pthread.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <future>
#include <iterator>
#include <system_error>
#include <utility>

#include "base/give_way.h"
#include "engine/applier.h"
#include "engine/engine.h"
#include "engine/lagging_snapshot.h"

namespace plumblane {
namespace {

// An owner that waits for events notices within this that it is none any more.
constexpr std::chrono::milliseconds kLookEvery{100};
// With a log elsewhere what was applied is synced after so many entries; then they may be trimmed.
constexpr uint64_t kEntriesASync = 16;

template <typename From, typename T>
void MoveAll(From& from, std::vector<T>& to) {
  to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
}

// A thread that cannot be had is done without.
std::future<absl::Status> Begin(std::launch how, const std::function<absl::Status()>& work) {
  try {
    return std::async(how, work);
  } catch (const std::system_error&) {
    return std::async(std::launch::deferred, work);
  }
}

}  // namespace

void Engine::Commit() {
  pthread_setname_np(pthread_self(), "committer");
  GiveWay(8);  // batches grow while a question is answered; a question waits for nothing
  while (Follow()) {
    while (CommitNext(/*waits=*/true, std::launch::async)) {
      if (!ShallLetGo()) continue;
      const absl::Status status = WriteUnwritten();
      if (!status.ok()) {
        Fail(status, {});
      } else {
        GiveBack(Phase::kFollowing,
                 absl::UnavailableError("another daemon takes these from now on; send again"), {});
      }
      break;
    }
    if (ShallLetGo()) ownership_->Release(options_.partition);
  }
  // By each for itself: where the log does not answer, that takes all of them no longer than one.
  if (ownership_ != nullptr) ownership_->Release(options_.partition);
}

bool Engine::ShallLetGo() const {
  return ownership_ != nullptr && ownership_->ShallLetGo(options_.partition);
}

void Engine::CommitWaiting() {
  while (CommitNext(/*waits=*/false, std::launch::deferred)) {
  }
}

bool Engine::CommitNext(bool waits, std::launch how) {
  std::optional<AtOnce::Place> place;
  std::vector<Waiting> taken = TakeWaiting(waits && !unwritten_, place);
  if (taken.empty() && !unwritten_) return false;
  LogEntry entry{{}, JoinContents(taken)};
  const Submission& content = entry.content;
  if (content.empty()) {
    if (absl::Status status = WriteUnwritten(); !status.ok()) {
      Fail(status, std::move(taken));
      return false;
    }
    Applied nothing;
    nothing.catalog.log_sequence = catalog_->log_sequence;
    Reply(taken, nothing);
    return true;
  }
  const bool lets_go = content.lets_go();
  std::vector<std::string_view> encoded;
  for (const Waiting& waiting : taken) encoded.push_back(waiting.encoded);
  auto applied = LogAndApply(encoded, entry, how);
  if (!applied.ok() && appended_ != Appended::kDurable) {
    return TurnBack(applied.status(), std::move(taken));
  }
  if (!applied.ok()) {
    Fail(applied.status(), std::move(taken));
    return false;
  }
  unwritten_ = {*std::move(applied), std::move(taken), std::move(entry)};
  if (unwritten_->applied.keeps_all_touched && !options_.at_once) return true;
  // A log that others read lets go of it when they have read on.
  if (lets_go && log_.KeepsStoreDurable()) return WriteAndForget();
  const absl::Status status = WriteUnwritten();
  if (!status.ok()) Fail(status, {});
  return status.ok();
}

absl::Status Engine::WriteUnwritten() {
  if (!unwritten_) return absl::OkStatus();
  absl::Status status = WriteOut(unwritten_->applied, unwritten_->from);
  if (status.ok()) unwritten_.reset();
  return status;
}

bool Engine::WriteAndForget() {
  Unwritten done = *std::move(unwritten_);
  unwritten_.reset();
  const auto write_both = [&]() -> absl::Status {
    if (absl::Status status = WriteOut(done.applied, {}); !status.ok()) return status;
    LogEntry nothing;
    nothing.content.purges.emplace_back();
    const std::string encoded = EncodeContent(nothing.content);
    const std::string_view only = encoded;
    const absl::Status trimmed = log_.Trim(options_.partition, catalog_->log_sequence + 1);
    if (!trimmed.ok()) return trimmed;
    const auto last = LogAndApply({&only, 1}, nothing, std::launch::deferred);
    return last.ok() ? WriteOut(*last, {}) : last.status();
  };
  if (absl::Status status = write_both(); !status.ok()) {
    Fail(status, std::move(done.from));
    return false;
  }
  Reply(done.from, done.applied);
  return true;
}

Submission Engine::JoinContents(std::vector<Waiting>& taken) {
  Submission content;
  for (Waiting& waiting : taken) MoveContent(std::move(waiting.submission), content);
  return content;
}

bool Engine::StillOwns() {
  const Instant now = wall_clock_.Now();
  if (!ownership_->IsMine(options_.partition)) return false;
  const std::lock_guard lock(published_mutex_);
  as_of_ = now;
  return true;
}

std::vector<Engine::Waiting> Engine::TakeWaiting(bool waits, std::optional<AtOnce::Place>& place) {
  if (ownership_ != nullptr) StillOwns();
  std::vector<Waiting> taken;
  std::vector<std::function<void()>> ready;
  {
    std::unique_lock lock(queue_mutex_);
    const auto has_news = [this] { return !queue_.empty() || phase_ != Phase::kRunning; };
    if (waits && ownership_ == nullptr) queue_changed_.wait(lock, has_news);
    if (waits && ownership_ != nullptr) {
      while (!queue_changed_.wait_for(lock, kLookEvery, has_news) && StillOwns() && !ShallLetGo()) {
      }
    }
    lock.unlock();
    place.emplace(options_.at_once.get());
    lock.lock();
    size_t events = 0;
    while (!queue_.empty() && (taken.empty() || events < entry_events_)) {
      events += queue_.front().events;
      taken.push_back(std::move(queue_.front()));
      queue_.pop_front();
    }
    queued_events_ -= events;
    // An owner no more follows.
    if (taken.empty() && waits) {
      phase_ = phase_ == Phase::kRunning ? Phase::kFollowing : Phase::kStopped;
    }
    ready.swap(wants_room_);
  }
  for (const auto& call : ready) call();
  return taken;
}

absl::StatusOr<Applied> Engine::LogAndApply(std::span<const std::string_view> encoded,
                                            LogEntry& entry, std::launch how) {
  const Catalog& before = unwritten_ ? unwritten_->applied.catalog : *catalog_;
  const uint64_t sequence = before.log_sequence + 1;
  entry.receive_time = wall_clock_.Now();
  appended_ = Appended::kDurable;
  // All entries before this one are as durable as this append, so they may go with it.
  if (absl::Status status = TrimBelow(log_.KeepsStoreDurable() ? sequence : synced_through_ + 1);
      !status.ok()) {
    return status;
  }
  appended_ =
      log_.Append(options_.partition, sequence,
                  EncodeLogEntry(entry.receive_time, entry.content.history_through, encoded));
  if (appended_ == Appended::kFull) {
    return absl::ResourceExhaustedError(
        "the log that the daemons share is full, so no events are taken; make room there and send "
        "again");
  }
  if (appended_ != Appended::kDurable) {
    return absl::UnavailableError(appended_ == Appended::kFenced
                                      ? "another daemon owns the log"
                                      : "writing the log failed; the outcome is unknown");
  }
  // Not before the append, which would wait for it.
  std::future<absl::Status> writing;
  if (unwritten_) {
    writing = Begin(how, [this] {
      absl::Status status = WriteOut(unwritten_->applied, unwritten_->from);
      if (!status.ok()) return status;
      // Much to give back, and the committer has less time.
      unwritten_->applied.batch = {};
      unwritten_->from = {};
      unwritten_->entry = {};
      return status;
    });
  }
  absl::Status written;
  const auto settle = [&]() -> absl::StatusOr<std::shared_ptr<const Snapshot>> {
    if (writing.valid()) written = writing.get();
    if (!written.ok()) return written;
    return Published();
  };
  const LaggingSnapshot snapshot(Published(), settle);
  const auto together = [how](const std::vector<std::function<void()>>& work) {
    std::vector<std::future<absl::Status>> others;
    for (size_t i = 1; i < work.size(); ++i) {
      others.push_back(Begin(how, [&one = work[i]] {
        one();
        return absl::OkStatus();
      }));
    }
    work.front()();
    for (auto& other : others) other.wait();
  };
  auto applied =
      Apply(snapshot, before, options_.rules.fold, sequence, entry, writers_memory_, together);
  if (const auto all = settle(); !all.ok()) return all.status();
  unwritten_.reset();
  // A small entry says little of how many records those of a large one share.
  const size_t events = entry.content.events.size();
  if (applied.ok() && events > entry_events_ / 2) {
    const size_t changes = std::max<size_t>(applied->batch.changes.size(), 1);
    entry_events_ =
        std::clamp<size_t>(events * options_.entry_changes / changes, 1, options_.entry_events);
  }
  return applied;
}

absl::Status Engine::WriteOut(const Applied& applied, std::span<Waiting> from) {
  const uint64_t sequence = applied.catalog.log_sequence;
  const bool sync = !log_.KeepsStoreDurable() && sequence % kEntriesASync == 0;
  if (absl::Status status = store_.Write(applied.batch, sync); !status.ok()) return status;
  if (sync) synced_through_ = sequence;
  Publish(applied.catalog, applied.cells);
  Reply(from, applied);
  if (!options_.published) memory_->Settle();
  return absl::OkStatus();
}

void Engine::Reply(std::span<Waiting> taken, const Applied& applied) {
  size_t at = 0;
  auto send = applied.sends.begin();
  for (Waiting& waiting : taken) {
    Receipt receipt;
    for (size_t i = 0; i < waiting.sends_begun; ++i) {
      receipt.sends.push_back(*send++);
    }
    receipt.log_sequence = applied.catalog.log_sequence;
    for (size_t i = 0; i < waiting.events; ++i, ++at) {
      receipt.fates.push_back(applied.fates[at]);
      receipt.standing += applied.standings[at];
    }
    waiting.answer(receipt);
  }
}

std::shared_ptr<const Snapshot> Engine::Published() const {
  const std::lock_guard lock(published_mutex_);
  return snapshot_;
}

void Engine::Publish(const Catalog& catalog, const CellChanges& changes) {
  if (!options_.published) memory_->Note(catalog.log_sequence, changes);
  std::shared_ptr<const Snapshot> snapshot = store_.TakeSnapshot();
  auto shared = std::make_shared<const Catalog>(catalog);
  if (options_.published) options_.published(snapshot, shared, changes);
  if (options_.compare_cells && catalog.log_sequence % options_.compare_entries == 0) {
    CompareCells(catalog.log_sequence, snapshot);
  }
  if (!options_.published) ViewOf(snapshot, shared).MakeAhead();
  std::lock_guard lock(published_mutex_);
  snapshot_ = std::move(snapshot);
  catalog_ = std::move(shared);
}

void Engine::Fail(const absl::Status& why, std::vector<Waiting> taken) {
  spdlog::critical("no more events are taken until restart: {}", why.ToString());
  GiveBack(Phase::kFailed,
           absl::UnavailableError("the daemon's disk failed; the outcome is unknown, send again "
                                  "later: repeats change nothing"),
           std::move(taken));
}

void Engine::GiveBack(Phase phase, const absl::Status& unknown, std::vector<Waiting> taken) {
  if (unwritten_) MoveAll(unwritten_->from, taken);
  unwritten_.reset();
  std::vector<std::function<void()>> ready;
  {
    std::lock_guard lock(queue_mutex_);
    if (phase_ != Phase::kStopping || phase == Phase::kFailed) phase_ = phase;
    MoveAll(queue_, taken);
    queue_.clear();
    queued_events_ = 0;
    ready.swap(wants_room_);
  }
  for (Waiting& waiting : taken) waiting.answer({unknown, 0, {}, {}});
  for (const auto& call : ready) call();
}

}  // namespace plumblane
