#include "engine/engine.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <iterator>
#include <utility>

#include "engine/applier.h"
#include "engine/sends.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

// Before this version orders were counted otherwise.
constexpr int kCountedAsNow = 3;
constexpr size_t kPagesAtATime = 10'000;

// Of the daemon itself: little, and only what happened already.
bool IsOwn(const Submission& submission) {
  return submission.events.empty() && submission.news.empty() && submission.excuses.empty() &&
         submission.agreements.empty() && submission.assignments.empty() &&
         submission.sends_begun.empty() && submission.sends_finished.empty() &&
         submission.sends_taken_back.empty();
}

// Cut short, it begins anew: of what was done already nothing changes.
absl::Status Upgrade(Store& store, const Snapshot& snapshot, Format& format,
                     const std::function<void()>& still_at_it) {
  for (const Space space : {Space::kCells, Space::kIndex}) {
    if (space == Space::kCells && format.version < kCountedAsNow) continue;  // counted below
    for (std::string from;; still_at_it()) {
      const auto batch = WritePagesAnew(snapshot, space, kPagesAtATime, from);
      if (!batch.ok()) return batch.status();
      if (batch->changes.empty()) break;
      if (absl::Status status = store.Write(*batch, /*sync=*/false); !status.ok()) return status;
    }
  }
  Batch last;
  if (format.version < kCountedAsNow) {
    const auto catalog = LoadCatalog(snapshot);
    if (!catalog.ok()) return catalog.status();
    auto counted = UpgradeFormat(snapshot, *catalog, format);
    if (!counted.ok()) return counted.status();
    last = *std::move(counted);
  } else {
    format.version = kFormatVersion;
    last.Put(Space::kMeta, std::string(kFormatKey), EncodeFormat(format));
  }
  return store.Write(last, /*sync=*/true);
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
      writers_memory_(options.writer_bytes),
      entry_events_(options.entry_events) {}

Engine::~Engine() { Stop(); }

absl::Status Engine::Start(std::function<void()> still_at_it) {
  if (absl::Status status = Open(still_at_it); !status.ok()) return status;
  committer_ = std::thread([this] { Commit(); });
  return absl::OkStatus();
}

absl::Status Engine::Open(const std::function<void()>& still_at_it) {
  if (absl::Status status = ArrivingState::ClearIfCutShort(store_); !status.ok()) return status;
  if (absl::Status status = CheckFormat(still_at_it); !status.ok()) return status;
  auto catalog = LoadCatalog(*store_.TakeSnapshot());
  if (!catalog.ok()) return catalog.status();
  Publish(*catalog, {});
  if (!options_.only_owned) {
    if (absl::Status status = Replay(still_at_it); !status.ok()) return status;
  }
  const bool is_shared = ownership_ != nullptr;
  if (!is_shared) {
    if (absl::Status status = FinishTakingBack(still_at_it); !status.ok()) return status;
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
    const absl::Status status = Upgrade(store_, *snapshot, *format, still_at_it);
    if (!status.ok()) return status;
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

void Engine::BeginToStop() {
  {
    std::lock_guard lock(queue_mutex_);
    if (phase_ == Phase::kRunning || phase_ == Phase::kFollowing) phase_ = Phase::kStopping;
  }
  queue_changed_.notify_all();
}

void Engine::Stop() {
  BeginToStop();
  if (committer_.joinable()) committer_.join();
  if (comparing_.joinable()) comparing_.join();
  if (ownership_ != nullptr) ownership_->Release(options_.partition);
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
        const size_t sends = submission.sends_begun.size();
        queue_.push_back(
            {std::move(submission), *std::move(encoded), std::move(answer), events, sends});
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
  return ViewOf(std::move(snapshot), std::move(catalog));
}

View Engine::ViewOf(std::shared_ptr<const Snapshot> its,
                    std::shared_ptr<const Catalog> catalog) const {
  const Instant now = options_.clock_mode == ClockMode::kWall
                          ? wall_clock_.Now()
                          : catalog->latest_event.value_or(kEarliestInstant);
  return View(std::move(its), std::move(catalog), memory_, options_.rules, now);
}

size_t Engine::QueuedEvents() const {
  std::lock_guard lock(queue_mutex_);
  return queued_events_;
}

bool Engine::AcceptsEvents() const {
  std::lock_guard lock(queue_mutex_);
  const bool owns = ownership_ == nullptr || ownership_->IsMine(options_.partition);
  return phase_ == Phase::kRunning && owns && refusal_.empty();
}

bool Engine::OwnsItsLog() const {
  std::lock_guard lock(queue_mutex_);
  return phase_ == Phase::kRunning && (!ownership_ || ownership_->IsMine(options_.partition));
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

}  // namespace plumblane
