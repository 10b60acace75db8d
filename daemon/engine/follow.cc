// Applying what the log holds and this engine has not made itself: at the start, and as long as
// another daemon owns the log.
#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <utility>

#include "base/give_way.h"
#include "base/hash.h"
#include "engine/applier.h"
#include "engine/engine.h"
#include "engine/sends.h"

namespace plumblane {
namespace {

constexpr size_t kReplayBytes = 16 << 20;
constexpr std::chrono::milliseconds kLookEvery{50};

// A log that cannot be reached is no error of the engine's.
absl::Status Sort(const absl::Status& status, absl::Status& out_of_reach) {
  if (!absl::IsUnavailable(status)) return status;
  out_of_reach = status;
  return absl::OkStatus();
}

}  // namespace

absl::Status Engine::Replay(const Progress& still_at_it) {
  const uint64_t before = catalog_->log_sequence;
  absl::Status out_of_reach;
  if (absl::Status status = CatchUp(still_at_it, out_of_reach); !status.ok()) return status;
  // Questions can be answered while a shared log cannot be reached.
  if (!out_of_reach.ok() && ownership_ == nullptr) return out_of_reach;
  if (catalog_->log_sequence == before) return absl::OkStatus();
  spdlog::info("applied {} log entries {}", catalog_->log_sequence - before,
               ownership_ == nullptr ? "again after a hard stop" : "of the log that is shared");
  return absl::OkStatus();
}

absl::Status Engine::CatchUp(const Progress& still_at_it, absl::Status& out_of_reach) {
  const Instant asked = wall_clock_.Now();
  const auto tail = log_.Tail(options_.partition);
  if (!tail.ok()) return Sort(tail.status(), out_of_reach);
  return CatchUpTo(*tail, asked, still_at_it, out_of_reach);
}

absl::Status Engine::LookAtLog(absl::Status& out_of_reach) {
  const Instant now = wall_clock_.Now();
  const auto recent = log_.RecentTail(options_.partition);
  if (!recent.ok()) return Sort(recent.status(), out_of_reach);
  const Progress nobody_waits = [] {};
  // From before this engine was the owner, or of another log.
  if (recent->sequence < catalog_->log_sequence) return CatchUp(nobody_waits, out_of_reach);
  return CatchUpTo(recent->sequence, now - recent->age.count(), nobody_waits, out_of_reach);
}

absl::Status Engine::CatchUpTo(uint64_t tail, Instant as_of, const Progress& still_at_it,
                               absl::Status& out_of_reach) {
  if (tail < catalog_->log_sequence) {
    return absl::DataLossError(absl::StrCat("the log ends at ", tail, " but the state has applied ",
                                            catalog_->log_sequence));
  }
  {
    const std::lock_guard lock(published_mutex_);
    tail_ = tail;
  }
  while (catalog_->log_sequence < tail) {
    const auto records = log_.Read(options_.partition, catalog_->log_sequence + 1, kReplayBytes);
    if (absl::IsOutOfRange(records.status()) && options_.only_owned) {
      out_of_reach = absl::UnavailableError("entries were removed meanwhile");
      return absl::OkStatus();
    }
    if (absl::IsOutOfRange(records.status())) {
      return absl::DataLossError(
          absl::StrCat("the state has applied ", catalog_->log_sequence, " log entries and ",
                       std::string(records.status().message()), ": entries between are missing"));
    }
    if (!records.ok()) return Sort(records.status(), out_of_reach);
    for (const LogRecord& record : *records) {
      const auto entry = DecodeLogEntry(record.bytes);
      if (!entry.ok()) return entry.status();
      auto applied = Apply(*snapshot_, *catalog_, options_.rules.fold, record.sequence, *entry,
                           writers_memory_);
      if (!applied.ok()) return applied.status();
      absl::Status status = WriteOut(*applied, {});
      if (status.ok() && !log_.KeepsStoreDurable()) status = TrimBelow(synced_through_ + 1);
      if (!status.ok()) return status;
      still_at_it();
    }
  }
  const std::lock_guard lock(published_mutex_);
  as_of_ = as_of;
  return absl::OkStatus();
}

absl::Status Engine::FinishTakingBack(const Progress& still_at_it) {
  std::vector<int64_t> sends;
  absl::Status bad = EachSend(*snapshot_, INT64_MAX, [&](const Send& send) {
    if (send.state == SendState::kBeingTakenBack) sends.push_back(send.number);
    return true;
  });
  if (!bad.ok()) return bad;
  while (!sends.empty()) {
    LogEntry step;
    step.content.sends_taken_back = {sends.back()};
    const std::string encoded = EncodeContent(step.content);
    const std::string_view only = encoded;
    auto applied = LogAndApply({&only, 1}, step, std::launch::deferred);
    if (!applied.ok()) return applied.status();
    if (absl::Status status = WriteOut(*applied, {}); !status.ok()) return status;
    still_at_it();
    const auto send = ReadSend(*snapshot_, sends.back());
    if (!send.ok()) return send.status();
    if ((*send)->state == SendState::kTakenBack) sends.pop_back();
  }
  return absl::OkStatus();
}

void Engine::CompareCells(uint64_t sequence, std::shared_ptr<const Snapshot> snapshot) {
  if (sequence == 0) return;
  if (comparing_.joinable()) comparing_.join();
  comparing_ = std::thread([this, sequence, snapshot = std::move(snapshot)] {
    GiveWay(10);
    StableHash hash;
    const absl::Status read = snapshot->Scan(Space::kCells, "", "", [&](auto key, auto value) {
      hash.Text(key);
      hash.Number(value.size());
      hash.Text(value);
      return true;
    });
    if (read.ok()) options_.compare_cells(options_.partition, sequence, hash.value());
  });
}

absl::Status Engine::TrimBelow(uint64_t sequence) {
  if (sequence <= options_.kept_entries) return absl::OkStatus();
  return log_.Trim(options_.partition, sequence - options_.kept_entries);
}

bool Engine::Follow() {
  bool complained = false;
  for (;;) {
    {
      std::lock_guard lock(queue_mutex_);
      if (phase_ != Phase::kFollowing) {
        return phase_ == Phase::kRunning || phase_ == Phase::kStopping;
      }
    }
    absl::Status out_of_reach;
    if (const absl::Status status = FollowOnce(out_of_reach); !status.ok()) {
      Fail(status, {});
      options_.lost_the_log(status);
      return false;
    }
    const bool is_fine = out_of_reach.ok();
    if (!is_fine && !complained) spdlog::error("no log: {}", std::string(out_of_reach.message()));
    if (is_fine && complained) spdlog::info("the log can be used again");
    complained = !is_fine;
    std::unique_lock lock(queue_mutex_);
    queue_changed_.wait_for(lock, kLookEvery, [this] { return phase_ != Phase::kFollowing; });
  }
}

absl::Status Engine::TakeUp(absl::Status& out_of_reach) {
  // What follows is kept for it again.
  if (absl::Status status = log_.Trim(options_.partition, 1); !status.ok()) return status;
  const auto next = log_.Read(options_.partition, catalog_->log_sequence + 1, 1);
  if (absl::IsOutOfRange(next.status())) {
    if (absl::Status status = FetchState(); !status.ok()) return Sort(status, out_of_reach);
  } else if (!next.ok()) {
    return Sort(next.status(), out_of_reach);
  }
  return CatchUp([] {}, out_of_reach);
}

absl::Status Engine::FetchState() {
  ArrivingState arriving(store_, [this] {
    const std::lock_guard lock(queue_mutex_);
    return phase_ == Phase::kFollowing;
  });
  absl::Status fetched = options_.fetch_state(options_.partition, arriving);
  if (fetched.ok()) fetched = arriving.End();
  if (!arriving.has_begun()) return fetched;
  // What was here is gone in any case.
  if (absl::Status status = ArrivingState::ClearIfCutShort(store_); !status.ok()) return status;
  if (absl::Status status = CheckFormat([] {}); !status.ok()) return status;
  std::shared_ptr<const Snapshot> snapshot = store_.TakeSnapshot();
  auto catalog = LoadCatalog(*snapshot);
  if (!catalog.ok()) return catalog.status();
  writers_memory_.Clear();
  synced_through_ = catalog->log_sequence;
  auto shared = std::make_shared<const Catalog>(*std::move(catalog));
  options_.replaced(snapshot, shared);
  const std::lock_guard lock(published_mutex_);
  snapshot_ = std::move(snapshot);
  catalog_ = std::move(shared);
  return fetched;
}

absl::Status Engine::FollowOnce(absl::Status& out_of_reach) {
  const Progress nobody_waits = [] {};
  if (options_.only_owned && !ownership_->IsFree(options_.partition)) {
    log_.Leave(options_.partition);
    return absl::OkStatus();
  }
  absl::Status status = options_.only_owned ? TakeUp(out_of_reach) : LookAtLog(out_of_reach);
  if (!status.ok() || !out_of_reach.ok()) return status;
  const auto mine = ownership_->Acquire(options_.partition);
  if (!mine.ok()) out_of_reach = mine.status();
  if (!mine.ok() || !*mine) return absl::OkStatus();
  // From here on nothing comes that is not from here: what the one before appended is there.
  status = CatchUp(nobody_waits, out_of_reach);
  if (status.ok() && out_of_reach.ok()) {
    status = FinishTakingBack(nobody_waits);
    if (!status.ok() && appended_ != Appended::kDurable) {
      out_of_reach = std::exchange(status, absl::OkStatus());
    }
  }
  if (!status.ok() || !out_of_reach.ok()) {
    ownership_->Release(options_.partition);
    return status;
  }
  std::lock_guard lock(queue_mutex_);
  if (phase_ == Phase::kFollowing) phase_ = Phase::kRunning;
  spdlog::info("owns the log from entry {} on: takes events", catalog_->log_sequence + 1);
  return absl::OkStatus();
}

bool Engine::TurnBack(const absl::Status& why, std::vector<Waiting> taken) {
  const bool is_full = appended_ == Appended::kFull;
  absl::Status status = is_full || ownership_ != nullptr ? WriteUnwritten() : why;
  if (!status.ok()) {
    Fail(status, std::move(taken));
    return false;
  }
  if (is_full) {
    for (Waiting& waiting : taken) waiting.answer({why, 0, {}, {}});
    return true;
  }
  spdlog::warn("takes no events any more and follows: {}", std::string(why.message()));
  GiveBack(Phase::kFollowing,
           absl::UnavailableError("the daemon does not own the log any more; the outcome is "
                                  "unknown, send again: repeats change nothing"),
           std::move(taken));
  return false;
}

absl::Status Engine::WhyRefused() const {
  const std::string address = ownership_->OwnersAddress(options_.partition);
  if (address.empty()) {
    return absl::UnavailableError(
        "no daemon of those that share the log takes events now; send again later");
  }
  return absl::FailedPreconditionError(
      absl::StrCat("this daemon follows and takes no events; the one at ", address, " does"));
}

bool Engine::Holds() const {
  const std::lock_guard lock(queue_mutex_);
  return !options_.only_owned || phase_ == Phase::kRunning;
}

std::optional<SharedLog> Engine::shared_log() const {
  if (ownership_ == nullptr) return std::nullopt;
  SharedLog shared;
  {
    const std::lock_guard lock(queue_mutex_);
    shared.follows = phase_ != Phase::kRunning;
  }
  SharedPart part;
  part.is_mine = !shared.follows && ownership_->IsMine(options_.partition);
  part.is_held = !options_.only_owned || !shared.follows;
  part.owners_address = ownership_->OwnersAddress(options_.partition);
  {
    const std::lock_guard lock(published_mutex_);
    part.applied = catalog_->log_sequence;
    part.tail = std::max(tail_, part.applied);
    part.as_of = part.is_mine ? wall_clock_.Now() : as_of_;
  }
  shared.owners_address = part.owners_address;
  shared.tail = part.tail;
  shared.as_of = part.as_of;
  shared.parts.push_back(std::move(part));
  return shared;
}

}  // namespace plumblane
