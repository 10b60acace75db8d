#include "engine/many_engines.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <map>
#include <thread>

#include "engine/joined_snapshot.h"
#include "engine/partitions.h"
#include "engine/sends.h"

namespace plumblane {
namespace {

// What is kept decoded for each partition, at the least.
constexpr size_t kLeastWriterBytes = 1 << 20;

// About half of them wait for the log at any time.
size_t EnginesAtOnce() { return 2 * std::max(std::thread::hardware_concurrency(), 1U); }

bool IsEventsOnly(const Submission& content) {
  return content.news.empty() && content.excuses.empty() && content.agreements.empty() &&
         content.assignments.empty() && content.alert_notices.empty() &&
         content.deliveries.empty() && content.sends_begun.empty() &&
         content.sends_finished.empty() && content.sends_taken_back.empty() && !content.lets_go();
}

absl::Status NotTaken(uint32_t partition, const std::string& why) {
  return absl::UnavailableError(absl::StrCat("partition ", partition, ": ", why, "; send again"));
}

}  // namespace

// The receipts of a submission's parts.
class ManyEngines::Gathering {
 public:
  Gathering(size_t events, size_t parts, std::function<void(const Receipt&)> answer)
      : left_(parts), answer_(std::move(answer)) {
    receipt_.fates.resize(events);
  }

  void Take(const PartOfSubmission& part, const Receipt& receipt) {
    std::unique_lock lock(mutex_);
    if (receipt.status.ok()) {
      receipt_.log_sequence = std::max(receipt_.log_sequence, receipt.log_sequence);
      for (size_t i = 0; i < part.events.size(); ++i) {
        receipt_.fates[part.events[i]] = receipt.fates[i];
      }
      receipt_.standing += receipt.standing;
      if (part.partition == 0) receipt_.sends = receipt.sends;
    } else if (receipt_.status.ok()) {
      receipt_.status = receipt.status;
    }
    if (--left_ > 0) return;
    lock.unlock();
    if (!receipt_.status.ok()) receipt_ = {receipt_.status, 0, {}, {}};
    answer_(receipt_);
  }

 private:
  std::mutex mutex_;
  size_t left_;
  Receipt receipt_;
  const std::function<void(const Receipt&)> answer_;
};

ManyEngines::ManyEngines(Store& store, EventLog& log, const Clock& wall_clock,
                         const EngineOptions& options, uint32_t partitions, Ownership& ownership,
                         OtherDesks& others)
    : wall_clock_(wall_clock),
      options_(options),
      ownership_(ownership),
      others_(others),
      memory_(std::make_shared<Memory>(options.series_bytes)),
      parts_(partitions),
      snapshots_(partitions),
      catalogs_(partitions),
      unseen_(partitions) {
  const auto at_once = std::make_shared<AtOnce>(EnginesAtOnce());
  for (uint32_t partition = 0; partition < partitions; ++partition) {
    EngineOptions own = options;
    own.at_once = at_once;
    own.partition = partition;
    own.writer_bytes = std::max(options.writer_bytes / partitions, kLeastWriterBytes);
    own.series_bytes = 0;
    own.published = [this, partition](const auto& snapshot, const auto& catalog,
                                      const auto& changes) {
      Published(partition, snapshot, catalog, changes);
    };
    // What is of no order, and every daemon must know, is in the first.
    own.only_owned = options.only_owned && partition > 0;
    own.replaced = [this, partition](const auto& snapshot, const auto& catalog) {
      Replaced(partition, snapshot, catalog);
    };
    Part& part = parts_[partition];
    part.store = std::make_unique<PrefixedStore>(store, PartitionPrefix(partition));
    part.engine = std::make_unique<Engine>(*part.store, log, wall_clock, own, &ownership);
  }
}

ManyEngines::~ManyEngines() { Stop(); }

absl::Status ManyEngines::Start(const std::function<void()>& still_at_it) {
  for (Part& part : parts_) {
    if (absl::Status status = part.engine->Start(still_at_it); !status.ok()) return status;
  }
  const std::scoped_lock lock(room_mutex_, seen_mutex_);
  stopped_ = false;
  return absl::OkStatus();
}

void ManyEngines::BeginToStop() {
  std::vector<std::function<void()>> answers;
  {
    const std::scoped_lock lock(room_mutex_, seen_mutex_);
    stopped_ = true;
    for (auto& unseen : unseen_) {
      for (Unseen& one : unseen) answers.push_back(std::move(one.answer));
      unseen.clear();
    }
  }
  for (Part& part : parts_) part.engine->BeginToStop();
  for (const auto& answer : answers) answer();
}

void ManyEngines::Stop() {
  BeginToStop();
  for (Part& part : parts_) part.engine->Stop();
}

void ManyEngines::Published(uint32_t partition, const std::shared_ptr<const Snapshot>& snapshot,
                            const std::shared_ptr<const Catalog>& catalog,
                            const CellChanges& changes) {
  std::vector<std::function<void()>> answers;
  {
    const std::lock_guard lock(seen_mutex_);
    std::shared_ptr<const Catalog>& known = catalogs_[partition];
    sequence_ += catalog->log_sequence - (known ? known->log_sequence : 0);
    memory_->Note(sequence_, changes);
    known = catalog;
    snapshots_[partition] = snapshot;
    std::erase_if(unseen_[partition], [&](Unseen& one) {
      if (one.sequence > catalog->log_sequence) return false;
      answers.push_back(std::move(one.answer));
      return true;
    });
    answers.push_back([memory = memory_] { memory->Settle(); });
  }
  for (const auto& answer : answers) answer();
}

void ManyEngines::Replaced(uint32_t partition, const std::shared_ptr<const Snapshot>& snapshot,
                           const std::shared_ptr<const Catalog>& catalog) {
  const std::lock_guard joining(joining_mutex_);
  const std::lock_guard lock(seen_mutex_);
  sequence_ += catalog->log_sequence - catalogs_[partition]->log_sequence;
  catalogs_[partition] = catalog;
  snapshots_[partition] = snapshot;
  catalog_.reset();
  memory_ = std::make_shared<Memory>(options_.series_bytes);
}

absl::Status ManyEngines::ReadState(uint32_t partition, const TakeRecord& take) const {
  if (partition >= parts_.size() || !parts_[partition].engine->Holds()) {
    return absl::NotFoundError("this partition is not held here");
  }
  const std::shared_ptr<const Snapshot> snapshot = [&] {
    const std::lock_guard lock(seen_mutex_);
    return snapshots_[partition];
  }();
  for (int space = 0; space < kSpaceCount; ++space) {
    bool goes_on = true;
    const absl::Status read =
        snapshot->Scan(static_cast<Space>(space), "", "", [&](auto key, auto value) {
          return goes_on = take(static_cast<Space>(space), key, value);
        });
    if (!read.ok()) return read;
    if (!goes_on) return absl::CancelledError("no more is wanted");
  }
  return absl::OkStatus();
}

View ManyEngines::Look() const {
  const std::lock_guard joining(joining_mutex_);
  std::vector<std::shared_ptr<const Snapshot>> snapshots;
  std::vector<std::shared_ptr<const Catalog>> catalogs;
  {
    const std::lock_guard lock(seen_mutex_);
    if (!catalog_ || catalog_->log_sequence != sequence_) {
      snapshots = snapshots_;
      catalogs = catalogs_;
    }
  }
  if (!catalogs.empty()) {
    catalog_ = joining_.Join(catalogs);
    whole_ = std::make_shared<JoinedSnapshot>(std::move(snapshots));
  }
  const Instant now = options_.clock_mode == ClockMode::kWall
                          ? wall_clock_.Now()
                          : catalog_->latest_event.value_or(kEarliestInstant);
  return View(whole_, catalog_, memory_, options_.rules, now);
}

bool ManyEngines::Submit(Submission&& submission, Answer answer) {
  if (submission.empty()) {
    TakeTurn(std::move(answer));
    return true;
  }
  const size_t events = submission.events.size();
  {
    const std::lock_guard lock(room_mutex_);
    if (handed_in_ > 0 && handed_in_ + events > options_.queue_events) return false;
    handed_in_ += events;
  }
  const View view = Look();
  std::shared_ptr<const Snapshot> first;
  {
    const std::lock_guard lock(seen_mutex_);
    first = snapshots_.front();
  }
  std::map<int64_t, bool> open;  // sends
  const auto is_open = [&](int64_t number) {
    const auto [at, is_new] = open.try_emplace(number, false);
    if (!is_new) return at->second;
    const auto send = ReadSend(*first, number);
    return at->second = send.ok() && *send && (*send)->takes_events();
  };
  auto parts = std::make_shared<Parts>(
      Split(std::move(submission), static_cast<uint32_t>(parts_.size()), view.catalog(), is_open));
  const auto done = [this, events, answer = std::move(answer)](const Receipt& receipt) {
    MakeRoom(events);
    answer(receipt);
  };
  if (parts->empty()) {
    done({});
    return true;
  }
  Hand(parts, std::make_shared<Gathering>(events, parts->size(), done));
  return true;
}

void ManyEngines::Hand(const std::shared_ptr<Parts>& parts,
                       const std::shared_ptr<Gathering>& gathering) {
  std::map<std::string, std::vector<size_t>> elsewhere;  // by address
  for (size_t i = 0; i < parts->size(); ++i) {
    PartOfSubmission& part = (*parts)[i];
    if (!parts_[part.partition].engine->OwnsItsLog()) {
      elsewhere[ownership_.OwnersAddress(part.partition)].push_back(i);
      continue;
    }
    TakeHere(
        part.partition, std::move(part.content),
        [gathering, parts, i](const Receipt& receipt) { gathering->Take((*parts)[i], receipt); });
  }
  for (const auto& [address, places] : elsewhere) HandOn(address, places, parts, gathering);
}

void ManyEngines::HandOn(const std::string& address, const std::vector<size_t>& places,
                         const std::shared_ptr<Parts>& parts,
                         const std::shared_ptr<Gathering>& gathering) {
  if (address.empty()) {
    for (const size_t i : places) {
      const PartOfSubmission& part = (*parts)[i];
      gathering->Take(part, {NotTaken(part.partition, "no daemon takes events now"), 0, {}, {}});
    }
    return;
  }
  std::vector<const PartOfSubmission*> some;
  for (const size_t i : places) some.push_back(&(*parts)[i]);
  others_.Submit(
      address, some, [this, places, parts, gathering](std::span<const Receipt> receipts) {
        for (size_t at = 0; at < places.size(); ++at) {
          const PartOfSubmission& part = (*parts)[places[at]];
          const Receipt& receipt = receipts[at];
          const bool is_seen_here = parts_[part.partition].engine->Holds();
          if (!receipt.status.ok() || IsEventsOnly(part.content) || !is_seen_here) {
            gathering->Take(part, receipt);
            continue;
          }
          WhenSeen(part.partition, receipt.log_sequence,
                   [gathering, parts, &part, receipt] { gathering->Take(part, receipt); });
        }
      });
}

void ManyEngines::TakeHere(uint32_t partition, Submission&& content, Answer answer) {
  if (partition >= parts_.size()) {
    return answer({absl::InvalidArgumentError("there is no such partition"), 0, {}, {}});
  }
  Engine& engine = *parts_[partition].engine;
  const auto said = [partition, answer](const Receipt& receipt) {
    // It follows: nothing was taken.
    if (!absl::IsFailedPrecondition(receipt.status)) return answer(receipt);
    answer({NotTaken(partition, std::string(receipt.status.message())), 0, {}, {}});
  };
  if (engine.Submit(std::move(content), said)) return;
  auto kept = std::make_shared<Submission>(std::move(content));
  engine.WhenRoom([this, partition, kept, answer = std::move(answer)]() mutable {
    TakeHere(partition, std::move(*kept), std::move(answer));
  });
}

void ManyEngines::WhenSeen(uint32_t partition, uint64_t sequence, std::function<void()> answer) {
  {
    const std::lock_guard room(room_mutex_);
    const std::lock_guard lock(seen_mutex_);
    if (!stopped_ && catalogs_[partition]->log_sequence < sequence) {
      unseen_[partition].push_back({sequence, std::move(answer)});
      return;
    }
  }
  answer();
}

// Of all engines that take events here.
void ManyEngines::TakeTurn(Answer answer) {
  std::vector<Engine*> owned;
  for (const Part& part : parts_) {
    if (part.engine->OwnsItsLog()) owned.push_back(part.engine.get());
  }
  if (owned.empty()) return answer({});
  auto gathering = std::make_shared<Gathering>(0, owned.size(), std::move(answer));
  for (Engine* engine : owned) {
    const auto take = [gathering](const Receipt&) { gathering->Take({}, {}); };
    // A full queue moves as well.
    if (!engine->Submit({}, take)) take({});
  }
}

void ManyEngines::MakeRoom(size_t events) {
  std::vector<std::function<void()>> ready;
  {
    const std::lock_guard lock(room_mutex_);
    handed_in_ -= events;
    ready.swap(wants_room_);
  }
  for (const auto& call : ready) call();
}

void ManyEngines::WhenRoom(std::function<void()> ready) {
  {
    const std::lock_guard lock(room_mutex_);
    if (handed_in_ > 0) {
      wants_room_.push_back(std::move(ready));
      return;
    }
  }
  ready();
}

size_t ManyEngines::QueuedEvents() const {
  const std::lock_guard lock(room_mutex_);
  return handed_in_;
}

bool ManyEngines::AcceptsEvents() const { return refusal().empty(); }

void ManyEngines::Refuse(std::string why) {
  for (const Part& part : parts_) part.engine->Refuse(why);
}

std::string ManyEngines::refusal() const {
  {
    const std::lock_guard lock(room_mutex_);
    if (stopped_) return "the daemon is stopping";
  }
  for (uint32_t partition = 0; partition < parts_.size(); ++partition) {
    const Engine& engine = *parts_[partition].engine;
    if (engine.OwnsItsLog()) {
      if (std::string why = engine.refusal(); !why.empty()) return why;
    } else if (ownership_.OwnersAddress(partition).empty()) {
      return absl::StrCat("no daemon takes events of partition ", partition, " now");
    }
  }
  return "";
}

std::optional<SharedLog> ManyEngines::shared_log() const {
  SharedLog whole;
  for (const Part& part : parts_) {
    const auto own = part.engine->shared_log();
    const SharedPart& one = own->parts.front();
    if (whole.parts.empty()) {
      whole.follows = own->follows;
      whole.owners_address = own->owners_address;
      whole.as_of = one.as_of;
    }
    whole.tail += one.tail;
    if (one.is_held) whole.as_of = std::min(whole.as_of, one.as_of);  // none is before all
    whole.parts.push_back(one);
  }
  if (whole.HoldsAll()) return whole;
  for (const Ownership::Other& other : ownership_.Others()) {
    if (other.follows_all) whole.whole_address = other.address;
  }
  return whole;
}

}  // namespace plumblane
