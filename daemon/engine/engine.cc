#include "engine/engine.h"

#include <absl/strings/str_cat.h>
#include <pthread.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <iterator>
#include <utility>

#include "base/give_way.h"
#include "engine/applier.h"
#include "engine/sends.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr uint32_t kPartition = 0;
// An owner that waits for events notices within this that it is none any more.
constexpr std::chrono::milliseconds kLookEvery{100};

// Of the daemon itself: little, and only what happened already.
bool IsOwn(const Submission& submission) {
  return submission.events.empty() && submission.news.empty() && submission.excuses.empty() &&
         submission.agreements.empty() && submission.assignments.empty() &&
         submission.sends_begun.empty() && submission.sends_finished.empty() &&
         submission.sends_taken_back.empty();
}

}  // namespace

Engine::Engine(Store& store, EventLog& log, const Clock& wall_clock, const EngineOptions& options,
               Ownership* ownership)
    : store_(store),
      log_(log),
      wall_clock_(wall_clock),
      options_(options),
      ownership_(ownership),
      memory_(std::make_shared<Memory>(options.series_bytes)),
      writers_memory_(options.writer_bytes) {}

Engine::~Engine() { Stop(); }

absl::Status Engine::Start(std::function<void()> still_at_it) {
  if (absl::Status status = Open(still_at_it); !status.ok()) return status;
  committer_ = std::thread([this] { Commit(); });
  return absl::OkStatus();
}

absl::Status Engine::Open(const std::function<void()>& still_at_it) {
  if (absl::Status status = CheckFormat(still_at_it); !status.ok()) return status;
  auto catalog = LoadCatalog(*store_.TakeSnapshot());
  if (!catalog.ok()) return catalog.status();
  Publish(*catalog, std::make_shared<const Cells>());
  absl::Status status = Replay(still_at_it);
  // Questions can be answered while a shared log cannot be reached.
  const bool is_shared = ownership_ != nullptr;
  if (!status.ok() && !(is_shared && absl::IsUnavailable(status))) return status;
  if (!is_shared) {
    if (status = FinishTakingBack(still_at_it); !status.ok()) return status;
  }
  std::lock_guard lock(queue_mutex_);
  phase_ = is_shared ? Phase::kFollowing : Phase::kRunning;
  return absl::OkStatus();
}

absl::Status Engine::CheckFormat(const Progress& still_at_it) {
  const auto snapshot = store_.TakeSnapshot();
  const auto record = snapshot->Get(Space::kMeta, kFormatKey);
  if (!record.ok()) return record.status();
  if (!*record) {
    Batch batch;
    batch.Put(Space::kMeta, std::string(kFormatKey),
              EncodeFormat({kFormatVersion, options_.rules.fold, {}, {}}));
    return store_.Write(batch, /*sync=*/true);
  }
  auto format = DecodeFormat(**record);
  if (!format.ok()) return format.status();
  if (format->version < 1 || format->version > kFormatVersion) {
    return absl::FailedPreconditionError(absl::StrCat(
        "the data has format version ", format->version, "; this daemon reads versions 1 to ",
        kFormatVersion, " only. Nothing was changed"));
  }
  if (format->version < kFormatVersion) {
    spdlog::info("the data has format version {}: taking it to {}", format->version,
                 kFormatVersion);
    const auto catalog = LoadCatalog(*snapshot);
    if (!catalog.ok()) return catalog.status();
    const auto batch = UpgradeFormat(*snapshot, *catalog, *format);
    if (!batch.ok()) return batch.status();
    if (absl::Status status = store_.Write(*batch, /*sync=*/true); !status.ok()) return status;
  }
  // A change of rules that was cut short goes on first.
  if (format->next_rules) {
    if (absl::Status status = Refold(*format, still_at_it); !status.ok()) return status;
    format->rules = *format->next_rules;
  }
  if (format->rules == options_.rules.fold) return absl::OkStatus();
  return Refold({kFormatVersion, format->rules, options_.rules.fold, {}}, still_at_it);
}

absl::Status Engine::Refold(Format format, const Progress& still_at_it) {
  spdlog::info("the rules for counting orders changed: counting every order anew");
  while (format.next_rules) {
    const auto snapshot = store_.TakeSnapshot();
    const auto catalog = LoadCatalog(*snapshot);
    if (!catalog.ok()) return catalog.status();
    const auto batch = RefoldSome(*snapshot, *catalog, options_.refold_orders, format);
    if (!batch.ok()) return batch.status();
    if (absl::Status status = store_.Write(*batch, /*sync=*/true); !status.ok()) return status;
    still_at_it();
  }
  return absl::OkStatus();
}

void Engine::Stop() {
  {
    std::lock_guard lock(queue_mutex_);
    if (phase_ == Phase::kRunning || phase_ == Phase::kFollowing) phase_ = Phase::kStopping;
  }
  queue_changed_.notify_all();
  if (committer_.joinable()) committer_.join();
  if (comparing_.joinable()) comparing_.join();
  if (ownership_ != nullptr) ownership_->Release(kPartition);
}

bool Engine::Submit(Submission&& submission, Answer answer) {
  const size_t events = submission.events.size();
  std::optional<std::string> encoded;
  absl::Status refused = absl::UnavailableError("the daemon takes no events now; send again later");
  for (;;) {
    {
      std::lock_guard lock(queue_mutex_);
      if (phase_ == Phase::kFollowing) refused = WhyRefused();
      if (phase_ != Phase::kRunning) break;
      if (!refusal_.empty() && !IsOwn(submission)) {
        refused = absl::ResourceExhaustedError(refusal_);
        break;
      }
      if (queued_events_ > 0 && queued_events_ + events > options_.queue_events) return false;
      if (encoded) {
        queued_events_ += events;
        queue_.push_back({std::move(submission), *std::move(encoded), std::move(answer)});
        queue_changed_.notify_one();
        return true;
      }
    }
    // By the many threads that submit, not by the committer.
    encoded = EncodeContent(submission);
  }
  answer({refused, 0, {}, {}});
  return true;
}

void Engine::WhenRoom(std::function<void()> ready) {
  {
    std::lock_guard lock(queue_mutex_);
    if (phase_ == Phase::kRunning && queued_events_ > 0) {
      wants_room_.push_back(std::move(ready));
      return;
    }
  }
  ready();
}

View Engine::Look() const {
  std::shared_ptr<const Snapshot> snapshot;
  std::shared_ptr<const Catalog> catalog;
  {
    std::lock_guard lock(published_mutex_);
    snapshot = snapshot_;
    catalog = catalog_;
  }
  const Instant now = options_.clock_mode == ClockMode::kWall
                          ? wall_clock_.Now()
                          : catalog->latest_event.value_or(kEarliestInstant);
  return View(std::move(snapshot), std::move(catalog), memory_, options_.rules, now);
}

size_t Engine::QueuedEvents() const {
  std::lock_guard lock(queue_mutex_);
  return queued_events_;
}

bool Engine::AcceptsEvents() const {
  std::lock_guard lock(queue_mutex_);
  const bool owns = ownership_ == nullptr || ownership_->IsMine(kPartition);
  return phase_ == Phase::kRunning && owns && refusal_.empty();
}

void Engine::Refuse(std::string why) {
  std::lock_guard lock(queue_mutex_);
  refusal_ = std::move(why);
}

std::string Engine::refusal() const {
  std::lock_guard lock(queue_mutex_);
  if (phase_ == Phase::kFailed) return "a write failed; nothing is taken until a restart";
  if (phase_ == Phase::kFollowing) return std::string(WhyRefused().message());
  return phase_ == Phase::kRunning ? refusal_ : "the daemon is stopping";
}

void Engine::Commit() {
  pthread_setname_np(pthread_self(), "committer");
  GiveWay(8);  // batches grow while a question is answered; a question waits for nothing
  while (Follow()) {
    std::vector<Waiting> taken = TakeWaiting();
    if (!taken.empty() && !CommitOne(std::move(taken))) return;
  }
}

void Engine::CommitWaiting() {
  const auto is_waiting = [this] {
    const std::lock_guard lock(queue_mutex_);
    return !queue_.empty();
  };
  while (is_waiting() && CommitOne(TakeWaiting())) {
  }
}

bool Engine::CommitOne(std::vector<Waiting> taken) {
  Submission content;
  size_t events = 0;
  for (const Waiting& waiting : taken) events += waiting.submission.events.size();
  content.events.reserve(events);
  for (Waiting& waiting : taken) {
    const auto move_all = [](auto& from, auto& to) {
      to.insert(to.end(), std::make_move_iterator(from.begin()),
                std::make_move_iterator(from.end()));
    };
    // Sizes are still needed to hand the fates back, so the vectors keep their moved-from events.
    move_all(waiting.submission.events, content.events);
    move_all(waiting.submission.news, content.news);
    move_all(waiting.submission.excuses, content.excuses);
    move_all(waiting.submission.agreements, content.agreements);
    move_all(waiting.submission.assignments, content.assignments);
    move_all(waiting.submission.alert_notices, content.alert_notices);
    move_all(waiting.submission.deliveries, content.deliveries);
    move_all(waiting.submission.sends_begun, content.sends_begun);
    move_all(waiting.submission.sends_finished, content.sends_finished);
    move_all(waiting.submission.sends_taken_back, content.sends_taken_back);
    content.history_through = std::max(content.history_through, waiting.submission.history_through);
  }
  if (content.empty()) {
    Applied nothing;
    nothing.catalog.log_sequence = catalog_->log_sequence;
    Reply(taken, nothing);
    return true;
  }
  std::vector<std::string_view> encoded;
  for (const Waiting& waiting : taken) encoded.push_back(waiting.encoded);
  auto applied = LogAndApply(encoded, std::move(content));
  if (absl::IsResourceExhausted(applied.status())) {
    for (Waiting& waiting : taken) waiting.answer({applied.status(), 0, {}, {}});
    return true;
  }
  if (absl::IsAborted(applied.status())) {
    StepDown(applied.status(), std::move(taken));
    return true;
  }
  if (!applied.ok()) {
    Fail(applied.status(), std::move(taken));
    return false;
  }
  Publish(applied->catalog, applied->cells);
  Reply(taken, *applied);
  return true;
}

std::vector<Engine::Waiting> Engine::TakeWaiting() {
  std::vector<Waiting> taken;
  std::vector<std::function<void()>> ready;
  {
    std::unique_lock lock(queue_mutex_);
    const auto has_news = [this] { return !queue_.empty() || phase_ != Phase::kRunning; };
    if (ownership_ == nullptr) {
      queue_changed_.wait(lock, has_news);
    } else {
      while (!queue_changed_.wait_for(lock, kLookEvery, has_news) &&
             ownership_->IsMine(kPartition)) {
      }
    }
    size_t events = 0;
    while (!queue_.empty() && (taken.empty() || events < options_.entry_events)) {
      events += queue_.front().submission.events.size();
      taken.push_back(std::move(queue_.front()));
      queue_.pop_front();
    }
    queued_events_ -= events;
    // An owner no more follows.
    if (taken.empty()) phase_ = phase_ == Phase::kRunning ? Phase::kFollowing : Phase::kStopped;
    ready.swap(wants_room_);
  }
  for (const auto& call : ready) call();
  return taken;
}

absl::StatusOr<Applied> Engine::LogAndApply(std::span<const std::string_view> encoded,
                                            Submission&& content) {
  const uint64_t sequence = catalog_->log_sequence + 1;
  const Instant received = wall_clock_.Now();
  // All entries before this one are as durable as this append, so they may go with it.
  if (log_.KeepsStoreDurable()) {
    if (absl::Status status = TrimBelow(sequence); !status.ok()) return status;
  }
  const Appended appended =
      log_.Append(kPartition, sequence, EncodeLogEntry(received, content.history_through, encoded));
  if (appended == Appended::kFull) {
    return absl::ResourceExhaustedError(
        "the log that the daemons share is full, so no events are taken; make room there and send "
        "again");
  }
  if (appended != Appended::kDurable) {
    const char* why = appended == Appended::kFenced ? "another daemon owns the log"
                                                    : "the outcome of writing the log is unknown";
    return ownership_ != nullptr ? absl::AbortedError(why) : absl::UnavailableError(why);
  }
  auto applied = Apply(*snapshot_, *catalog_, options_.rules.fold, sequence,
                       {received, std::move(content)}, writers_memory_);
  if (!applied.ok()) return applied.status();
  if (absl::Status status = WriteApplied(applied->batch, sequence); !status.ok()) return status;
  return applied;
}

void Engine::Reply(std::vector<Waiting>& taken, const Applied& applied) {
  size_t at = 0;
  auto send = applied.sends.begin();
  for (Waiting& waiting : taken) {
    Receipt receipt;
    for (size_t i = 0; i < waiting.submission.sends_begun.size(); ++i) {
      receipt.sends.push_back(*send++);
    }
    receipt.log_sequence = applied.catalog.log_sequence;
    for (size_t i = 0; i < waiting.submission.events.size(); ++i, ++at) {
      receipt.fates.push_back(applied.fates[at]);
      receipt.standing += applied.standings[at];
    }
    waiting.answer(receipt);
  }
}

void Engine::Publish(const Catalog& catalog, const std::shared_ptr<const Cells>& changes) {
  memory_->Note(catalog.log_sequence, changes);
  auto snapshot = store_.TakeSnapshot();
  auto shared = std::make_shared<const Catalog>(catalog);
  if (options_.compare_cells && catalog.log_sequence % options_.compare_entries == 0) {
    CompareCells(catalog.log_sequence, snapshot);
  }
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
  std::vector<std::function<void()>> ready;
  {
    std::lock_guard lock(queue_mutex_);
    if (phase_ != Phase::kStopping || phase == Phase::kFailed) phase_ = phase;
    taken.insert(taken.end(), std::make_move_iterator(queue_.begin()),
                 std::make_move_iterator(queue_.end()));
    queue_.clear();
    queued_events_ = 0;
    ready.swap(wants_room_);
  }
  for (Waiting& waiting : taken) waiting.answer({unknown, 0, {}, {}});
  for (const auto& call : ready) call();
}

}  // namespace plumblane
