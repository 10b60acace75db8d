#include "engine/applier.h"

#include <absl/container/flat_hash_map.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "engine/assignment_changes.h"
#include "engine/changes.h"
#include "engine/erased_supplier.h"
#include "engine/excused.h"
#include "engine/fates.h"
#include "engine/leaving.h"
#include "engine/notice_changes.h"
#include "engine/sends.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

// An order to fold again.
struct TouchedOrder {
  OrderKey order;
  std::string key;             // of its record
  std::vector<size_t> events;  // of the entry
};

// Of an order's events before an entry.
struct KnownSends {
  size_t events = 0;
  std::vector<int64_t> sends;
};

// One application of one entry; the members are what it works on.
class Application {
 public:
  Application(const Snapshot& snapshot, const Catalog& catalog, const FoldRules& rules,
              WritersMemory& memory, const LogEntry& entry)
      : snapshot_(snapshot),
        rules_(rules),
        memory_(memory),
        excuses_before_(catalog.excuses),
        leaving_(entry.content) {
    applied_.catalog = catalog;
  }

  absl::StatusOr<Applied> Run(uint64_t sequence, const LogEntry& entry) {
    applied_.catalog.log_sequence = sequence;
    applied_.fates.resize(entry.content.events.size());
    applied_.standings.resize(entry.content.events.size());
    for (size_t i = 0; i < entry.content.events.size(); ++i) {
      Touch(entry.content.events[i].order).events.push_back(i);
    }
    if (absl::Status status = TakeSends(entry); !status.ok()) return status;
    if (absl::Status status = TakeExcuses(entry.content.excuses); !status.ok()) return status;
    for (const SourceNews& news : entry.content.news) TakeNews(news);
    TakeAgreements(sequence, entry);
    for (const Assignment& given : entry.content.assignments) Touch(given.order);
    for (const OrderKey& order : leaving_.Orders()) Touch(order);
    if (!entry.content.assignments.empty()) payments_.KeepUnchanged();
    if (absl::Status status = TakeEvents(entry.content.events); !status.ok()) return status;
    std::vector<Assignment> given = entry.content.assignments;
    std::erase_if(given, [&](const Assignment& one) { return not_kept_.contains(one.order); });
    if (absl::Status status =
            ChangeAssignments(snapshot_, payments_, given, applied_.catalog, applied_.batch);
        !status.ok()) {
      return status;
    }
    if (absl::Status status =
            leaving_.AppendTo(snapshot_, entry.receive_time, applied_.catalog, applied_.batch);
        !status.ok()) {
      return status;
    }
    if (auto history = entry.content.history_through) {
      std::optional<Instant>& latest = applied_.catalog.history_through;
      if (!latest || *latest < *history) latest = history;
    }
    if (absl::Status status = FinishSends(sequence, entry); !status.ok()) return status;
    TakeAlertNotices(entry.content.alert_notices, applied_.catalog, applied_.batch);
    TakeDeliveries(entry.content.deliveries, applied_.catalog, applied_.batch);
    for (const ErasedSupplier& erased : entry.content.erased_suppliers) {
      const absl::Status gone =
          EraseSupplier(snapshot_, erased, entry, applied_.catalog, changes_, applied_.batch);
      if (!gone.ok()) return gone;
    }
    if (absl::Status status = Finish(); !status.ok()) return status;
    // What orders fold to may rest on excuses.
    if (entry.content.changes_orders_otherwise()) memory_.Clear();
    memory_.orders.MakeRoom();
    memory_.pages.MakeRoom();
    return std::move(applied_);
  }

 private:
  TouchedOrder& Touch(const OrderKey& order) {
    std::string key = OrderRecordKey(order);
    const auto [at, is_new] = touched_at_.try_emplace(key, touched_.size());
    if (is_new) touched_.push_back({order, std::move(key), {}});
    return touched_[at->second];
  }

  absl::Status TakeSends(const LogEntry& entry) {
    if (absl::Status status = sends_.Load(snapshot_, entry.content); !status.ok()) return status;
    for (const SendBegun& begun : entry.content.sends_begun) {
      applied_.sends.push_back(sends_.Begin(begun, entry.receive_time, applied_.catalog.last_send));
    }
    for (const int64_t send : entry.content.sends_taken_back) {
      const auto step = sends_.TakeBack(snapshot_, send, entry.receive_time);
      if (!step.ok()) return step.status();
      for (const OrderKey& order : step->orders) {
        Touch(order);
        taken_back_[order].push_back(send);
      }
      if (step->done) sends_gone_.push_back(send);
    }
    return absl::OkStatus();
  }

  absl::Status FinishSends(uint64_t sequence, const LogEntry& entry) {
    for (size_t i = 0; i < applied_.fates.size(); ++i) {
      sends_.Note(entry.content.events[i].event, applied_.fates[i].kind, sequence);
    }
    for (const SendFinished& finished : entry.content.sends_finished) {
      sends_.Finish(finished, entry.receive_time);
    }
    for (const int64_t send : sends_gone_) {
      const absl::Status counted = sends_.Recount(snapshot_, send, applied_.catalog);
      if (!counted.ok()) return counted;
      for (const auto& [name, word] : sends_.Get(send).sources) changed_sources_.insert(name);
    }
    sends_.AppendTo(applied_.batch);
    return absl::OkStatus();
  }

  absl::Status TakeExcuses(const std::vector<Excuse>& excuses) {
    if (excuses.empty()) return absl::OkStatus();
    auto book = std::make_shared<ExcuseBook>(*excuses_before_);
    for (const Excuse& excuse : excuses) {
      // Two who give different excuses one id at the same moment are told apart by nobody before.
      const auto known = book->all().find(excuse.excuse_id);
      absl::Status touched = TouchExcused(excuse);
      if (known != book->all().end()) touched.Update(TouchExcused(known->second));
      if (!touched.ok()) return touched;
      book->Put(excuse);
      applied_.batch.Put(Space::kMeta, ExcuseKey(excuse.excuse_id), EncodeExcuse(excuse));
    }
    applied_.catalog.excuses = std::move(book);
    return absl::OkStatus();
  }

  absl::Status TouchExcused(const Excuse& excuse) {
    return EachExcusedOrder(snapshot_, *applied_.catalog.pairs, excuse,
                            [this](const OrderKey& order) { Touch(order); });
  }

  void TakeNews(const SourceNews& news) {
    if (!sends_.Takes(news.send)) return;
    sends_.NoteNews(news);
    Source& source = applied_.catalog.sources[news.source];
    if (const auto* through = std::get_if<Instant>(&news.news)) {
      Hear({false, *through, {}}, news.send != 0, source);
      source.periodic = true;
      source.retired = false;
    } else if (std::holds_alternative<SourceNews::Live>(news.news)) {
      source.periodic = source.retired = false;
    } else {
      source.retired = true;
    }
    changed_sources_.insert(news.source);
  }

  void TakeAgreements(uint64_t sequence, const LogEntry& entry) {
    const std::vector<AgreementLoad>& loads = entry.content.agreements;
    if (loads.empty()) return;
    auto agreements = std::make_shared<Agreements>(*applied_.catalog.agreements);
    for (size_t i = 0; i < loads.size(); ++i) {
      agreements->Take(loads[i], entry.receive_time);
      applied_.batch.Put(Space::kMeta, AgreementKey(sequence, i),
                         EncodeAgreement(entry.receive_time, loads[i]));
    }
    applied_.catalog.agreements = std::move(agreements);
  }

  absl::Status TakeEvents(const std::vector<OrderEvent>& events) {
    std::sort(touched_.begin(), touched_.end(),
              [](const TouchedOrder& a, const TouchedOrder& b) { return a.key < b.key; });
    std::vector<Kept<KnownOrder>::Item*> known;
    const bool some_left = applied_.catalog.purged_count + applied_.catalog.erased_count > 0;
    std::vector<std::string> unknown, marks;
    for (const TouchedOrder& touched : touched_) {
      known.push_back(memory_.orders.Find(touched.key));
      if (!known.back()) unknown.push_back(touched.key);
      if (!known.back() && some_left) marks.push_back(GoneKey(touched.order));
    }
    auto records = snapshot_.GetAll(Space::kOrders, unknown);
    if (!records.ok()) return records.status();
    auto gone = snapshot_.GetAll(Space::kIndex, marks);
    if (!gone.ok()) return gone.status();
    auto record = records->begin();
    auto mark = gone->begin();
    for (size_t i = 0; i < touched_.size(); ++i) {
      if (!known[i]) {
        KnownOrder read;
        if (*record) {
          auto decoded = DecodeOrder(**record);
          if (!decoded.ok()) return decoded.status();
          read.events = *std::move(decoded);
          read.state = Fold(touched_[i].order, read.events, rules_, *excuses_before_);
        }
        if (some_left) read.gone = (mark++)->has_value();
        const size_t bytes = BytesOf(read, *record ? (**record).size() : 0);
        known[i] = memory_.orders.Put(touched_[i].key, std::move(read), bytes);
        ++record;
      }
      const absl::Status taken = TakeOrder(touched_[i], *known[i], events);
      if (!taken.ok()) return taken;
    }
    return absl::OkStatus();
  }

  absl::Status TakeOrder(const TouchedOrder& touched, Kept<KnownOrder>::Item& item,
                         const std::vector<OrderEvent>& incoming) {
    if (item.value.gone) {
      Refuse(touched);
      return absl::OkStatus();
    }
    std::vector<Event>& stored = item.value.events;
    const KnownSends known{stored.size(), SendsOf(stored)};
    stored.reserve(std::max<size_t>(5, known.events + touched.events.size()));  // moving is dear
    bool changed = TakeBackFrom(touched.order, stored);
    for (const size_t i : touched.events) {
      const Event& event = incoming[i].event;
      if (!sends_.Takes(SendOf(event))) {
        applied_.fates[i].kind = EventFate::Kind::kNoSend;
        continue;
      }
      const Told told = Tell(stored, event);
      applied_.fates[i].kind = FateOf(told);
      if (told != Told::kNew && told != Told::kAgain) continue;
      NoteSource(event);
      changed = true;
    }
    OrderState& state = item.value.state;
    if (leaving_.IsErased(touched.order) && (known.events > 0 || changed)) {
      changed = true;
      stored.clear();
      Leave(touched, item);
    }
    if (!changed && applied_.catalog.excuses == excuses_before_) {
      payments_.Note(touched.order, state, state);
      const TermsBook& terms = applied_.catalog.agreements->terms;
      if (touched.events.empty() &&
          leaving_.IsPurged(touched.order, state, stored, rules_, terms)) {
        changes_.LetGo(touched.order, state);
        const OrderState before = std::exchange(state, {});
        stored.clear();
        Leave(touched, item);
        return Keep(touched, item, incoming, before, known);
      }
      return absl::OkStatus();
    }
    const OrderState before =
        std::exchange(state, Fold(touched.order, stored, rules_, *applied_.catalog.excuses));
    changes_.Replace(touched.order, before, state);
    payments_.Note(touched.order, before, state);
    return changed ? Keep(touched, item, incoming, before, known) : absl::OkStatus();
  }

  // What is told of an order that is no longer kept is not taken.
  void Refuse(const TouchedOrder& touched) {
    for (const size_t i : touched.events) applied_.fates[i].kind = EventFate::Kind::kNotKept;
    not_kept_.insert(touched.order);
  }

  void Leave(const TouchedOrder& touched, Kept<KnownOrder>::Item& item) {
    item.value.gone = true;
    leaving_.Note(touched.order);
    Refuse(touched);
  }

  absl::Status Keep(const TouchedOrder& touched, Kept<KnownOrder>::Item& item,
                    const std::vector<OrderEvent>& incoming, const OrderState& before,
                    const KnownSends& known) {
    const std::vector<Event>& stored = item.value.events;
    const OrderState& after = item.value.state;
    const StandingDelta was = StandingOf(before), is = StandingOf(after);
    const StandingDelta delta{is.orders - was.orders, is.waiting - was.waiting,
                              is.unpromised - was.unpromised};
    if (!touched.events.empty() && !item.value.gone)
      applied_.standings[touched.events.back()] = delta;
    applied_.catalog.order_count += delta.orders;
    applied_.catalog.event_count +=
        static_cast<int64_t>(stored.size()) - static_cast<int64_t>(known.events);
    std::string record = stored.empty() ? "" : EncodeOrder(stored);
    memory_.orders.Weigh(item, BytesOf(item.value, record.size()));
    if (stored.empty()) {
      applied_.batch.Delete(Space::kOrders, touched.key);
    } else {
      applied_.batch.Put(Space::kOrders, touched.key, std::move(record));
    }
    IndexSends(touched.order, known.sends, stored, applied_.batch);
    HearFrom(stored, after);
    for (const size_t i : touched.events) {
      const Event& event = incoming[i].event;
      if (applied_.fates[i].kind == EventFate::Kind::kAccepted &&
          event.type == EventType::kRetracted && WaitsForItsEvent(stored, event)) {
        applied_.fates[i].kind = EventFate::Kind::kWaiting;
      }
    }
    if (!HasNewFaults(before, after)) return absl::OkStatus();
    return BlameFaults(snapshot_, {touched.order, touched.key, before, touched.events}, incoming,
                       rules_, *applied_.catalog.excuses, applied_.fates);
  }

  // Takes out what sends taken back had told; false when nothing.
  bool TakeBackFrom(const OrderKey& order, std::vector<Event>& events) {
    const auto sends = taken_back_.find(order);
    if (sends == taken_back_.end()) return false;
    for (const int64_t send : sends->second) sends_.NoteTakenBack(send, TakeBack(events, send));
    return true;
  }

  void HearFrom(const std::vector<Event>& events, const OrderState& state) {
    for (auto event = events.rbegin(); event != events.rend(); ++event) {
      if (event->type == EventType::kRetracted) continue;
      changes_.Heard(state, event->time);
      return;
    }
  }

  void NoteSource(const Event& event) {
    if (event_source_ == nullptr || event_source_->first != event.source) {
      event_source_ = &*applied_.catalog.sources.try_emplace(event.source).first;
      changed_sources_.insert(event.source);
    }
    SourceWord word;
    word.sends_deliveries = event.type == EventType::kDelivered;
    if (event.type != EventType::kRetracted) word.last_event = event.time;
    Hear(word, SendOf(event) != 0, event_source_->second);
    applied_.catalog.latest_event = std::max(applied_.catalog.latest_event, word.last_event);
  }

  absl::Status Finish() {
    std::set<Pair> born, gone;
    if (absl::Status status = changes_.AppendTo(snapshot_, memory_, applied_.batch, born, gone);
        !status.ok()) {
      return status;
    }
    if (!born.empty() || !gone.empty()) {
      auto pairs = std::make_shared<PairDirectory>(*applied_.catalog.pairs);
      for (const Pair& pair : born) pairs->Insert(pair);
      for (const Pair& pair : gone) pairs->Erase(pair);
      applied_.catalog.pairs = std::move(pairs);
    }
    for (const std::string& name : changed_sources_) {
      const auto source = applied_.catalog.sources.find(name);
      if (source == applied_.catalog.sources.end()) {
        applied_.batch.Delete(Space::kMeta, SourceKey(name));
      } else {
        applied_.batch.Put(Space::kMeta, SourceKey(name), EncodeSource(source->second));
      }
    }
    applied_.batch.Put(Space::kMeta, std::string(kProgressKey), EncodeProgress(applied_.catalog));
    applied_.cells = std::make_shared<const Cells>(changes_.TakeCells());
    return absl::OkStatus();
  }

  const Snapshot& snapshot_;
  const FoldRules& rules_;
  WritersMemory& memory_;
  const std::shared_ptr<const ExcuseBook> excuses_before_;
  std::vector<TouchedOrder> touched_;
  absl::flat_hash_map<std::string, size_t> touched_at_;  // by key
  Payments payments_;                                    // of the parts touched
  std::set<std::string> changed_sources_;
  std::pair<const std::string, Source>* event_source_ = nullptr;  // of the last event
  SendLedger sends_;
  std::map<OrderKey, std::vector<int64_t>> taken_back_;  // sends to take out of these orders
  std::vector<int64_t> sends_gone_;                      // this was their last step
  Leaving leaving_;
  std::set<OrderKey> not_kept_;
  Changes changes_;
  Applied applied_;
};

}  // namespace

absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry,
                              WritersMemory& memory) {
  return Application(snapshot, catalog, rules, memory, entry).Run(sequence, entry);
}

}  // namespace plumblane
