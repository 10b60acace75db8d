#include "engine/applier.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <map>
#include <set>

#include "engine/assignments.h"
#include "engine/changes.h"
#include "engine/fates.h"
#include "engine/sends.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

using OrderPart = std::pair<OrderKey, int>;

// Whom a part was and is paid to; none while it is not paid.
struct Payment {
  std::optional<std::string> before, after;
};

// One application of one entry; the members are what it works on.
class Application {
 public:
  Application(const Snapshot& snapshot, const Catalog& catalog, const FoldRules& rules)
      : snapshot_(snapshot), rules_(rules), excuses_before_(catalog.excuses) {
    applied_.catalog = catalog;
  }

  absl::StatusOr<Applied> Run(uint64_t sequence, const LogEntry& entry) {
    applied_.catalog.log_sequence = sequence;
    applied_.fates.resize(entry.content.events.size());
    applied_.standings.resize(entry.content.events.size());
    for (size_t i = 0; i < entry.content.events.size(); ++i) {
      touched_[entry.content.events[i].order].push_back(i);
    }
    if (absl::Status status = TakeSends(entry); !status.ok()) return status;
    if (absl::Status status = TakeExcuses(entry.content.excuses); !status.ok()) return status;
    for (const SourceNews& news : entry.content.news) TakeNews(news);
    TakeAgreements(sequence, entry);
    for (const Assignment& given : entry.content.assignments) touched_[given.order];
    if (absl::Status status = TakeEvents(entry.content.events); !status.ok()) return status;
    if (absl::Status status = TakeAssignments(entry.content.assignments); !status.ok()) {
      return status;
    }
    if (auto history = entry.content.history_through) {
      std::optional<Instant>& latest = applied_.catalog.history_through;
      if (!latest || *latest < *history) latest = history;
    }
    if (absl::Status status = FinishSends(sequence, entry); !status.ok()) return status;
    TakeAlertNotices(entry.content.alert_notices);
    for (const Delivered& one : entry.content.deliveries) TakeDelivered(one);
    if (absl::Status status = Finish(); !status.ok()) return status;
    return std::move(applied_);
  }

 private:
  absl::Status TakeSends(const LogEntry& entry) {
    if (absl::Status status = sends_.Load(snapshot_, entry.content); !status.ok()) return status;
    for (const SendBegun& begun : entry.content.sends_begun) {
      applied_.sends.push_back(++applied_.catalog.last_send);
      sends_.Begin(begun, entry.receive_time, applied_.sends.back());
    }
    for (const int64_t send : entry.content.sends_taken_back) {
      const auto step = sends_.TakeBack(snapshot_, send, entry.receive_time);
      if (!step.ok()) return step.status();
      for (const OrderKey& order : step->orders) {
        touched_[order];
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
      book->Put(excuse);
      applied_.batch.Put(Space::kMeta, ExcuseKey(excuse.excuse_id), EncodeExcuse(excuse));
      if (const auto* one = std::get_if<ExcusedOrder>(&excuse.subject)) {
        touched_[one->order];
      } else if (absl::Status status = TouchDue(std::get<ExcusedDays>(excuse.subject));
                 !status.ok()) {
        return status;
      }
    }
    applied_.catalog.excuses = std::move(book);
    return absl::OkStatus();
  }

  // The orders due on a lane in a range of days fold differently now.
  absl::Status TouchDue(const ExcusedDays& days) {
    const PairDirectory& pairs = *applied_.catalog.pairs;
    const auto at = pairs.by_destination.find(days.lane.destination);
    if (at == pairs.by_destination.end()) return absl::OkStatus();
    std::set<Lane> lanes;
    for (const auto& [lane, supplier] : at->second) {
      if (days.lane.Covers(lane)) lanes.insert(lane);
    }
    absl::Status bad;
    for (const Lane& lane : lanes) {
      const absl::Status scanned = snapshot_.Scan(
          Space::kIndex, DuePrefix(lane), DueKeyFrom(lane, days.first_due), [&](auto key, auto) {
            const auto due = ParseDueKey(key);
            bad.Update(due.status());
            if (!due.ok() || due->day > days.last_due) return false;
            touched_[due->part.order];
            return true;
          });
      bad.Update(scanned);
    }
    return bad;
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

  void TakeAlertNotices(const std::vector<AlertNotice>& notices) {
    if (notices.empty()) return;
    auto alerts = std::make_shared<AlertsTold>(*applied_.catalog.alerts);
    for (AlertNotice notice : notices) {
      notice.quiet = IsQuiet(notice, *alerts, applied_.catalog.history_through);
      if (!alerts->Take(notice)) continue;
      applied_.batch.Put(Space::kMeta, NoticeKey(alerts->last_cursor), EncodeAlertNotice(notice));
    }
    applied_.catalog.alerts = std::move(alerts);
  }

  void TakeDelivered(const Delivered& delivered) {
    const auto [at, is_new] = applied_.catalog.delivered.try_emplace(delivered.sink, 0);
    if (!is_new && delivered.cursor <= at->second) return;
    at->second = delivered.cursor;
    applied_.batch.Put(Space::kMeta, DeliveredKey(delivered.sink), EncodeCount(delivered.cursor));
  }

  absl::Status TakeEvents(const std::vector<OrderEvent>& events) {
    std::vector<std::string> keys;
    keys.reserve(touched_.size());
    for (const auto& [order, indexes] : touched_) keys.push_back(OrderRecordKey(order));
    auto records = snapshot_.GetAll(Space::kOrders, keys);
    if (!records.ok()) return records.status();
    auto record = records->begin();
    auto key = keys.begin();
    for (const auto& [order, indexes] : touched_) {
      std::vector<Event> stored;
      if (*record) {
        auto decoded = DecodeOrder(**record);
        if (!decoded.ok()) return decoded.status();
        stored = *std::move(decoded);
      }
      TakeOrder(order, std::move(stored), indexes, events, *key);
      ++record;
      ++key;
    }
    return absl::OkStatus();
  }

  void TakeOrder(const OrderKey& order, std::vector<Event> stored,
                 const std::vector<size_t>& indexes, const std::vector<OrderEvent>& incoming,
                 const std::string& key) {
    const std::vector<Event> known = stored;
    const OrderState before = Fold(order, known, rules_, *excuses_before_);
    bool changed = TakeBackFrom(order, stored);
    for (const size_t i : indexes) {
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
    const OrderState after = Fold(order, stored, rules_, *applied_.catalog.excuses);
    changes_.Replace(order, before, after);
    NotePayments(order, before, after);

    const StandingDelta was = StandingOf(before), is = StandingOf(after);
    const StandingDelta delta{is.orders - was.orders, is.waiting - was.waiting,
                              is.unpromised - was.unpromised};
    if (!indexes.empty()) applied_.standings[indexes.back()] = delta;
    if (!changed) return;
    applied_.catalog.order_count += delta.orders;
    applied_.catalog.event_count +=
        static_cast<int64_t>(stored.size()) - static_cast<int64_t>(known.size());
    if (stored.empty()) {
      applied_.batch.Delete(Space::kOrders, key);
    } else {
      applied_.batch.Put(Space::kOrders, key, EncodeOrder(stored));
    }
    IndexSends(order, known, stored, applied_.batch);
    HearFrom(stored, after);
    for (const size_t i : indexes) {
      const Event& event = incoming[i].event;
      if (applied_.fates[i].kind == EventFate::Kind::kAccepted &&
          event.type == EventType::kRetracted && WaitsForItsEvent(stored, event)) {
        applied_.fates[i].kind = EventFate::Kind::kWaiting;
      }
    }
    if (HasNewFaults(before, after)) BlameFaults(order, known, indexes, incoming, before);
  }

  // Takes out what sends taken back had told; false when nothing.
  bool TakeBackFrom(const OrderKey& order, std::vector<Event>& events) {
    const auto sends = taken_back_.find(order);
    if (sends == taken_back_.end()) return false;
    for (const int64_t send : sends->second) sends_.NoteTakenBack(send, TakeBack(events, send));
    return true;
  }

  void NotePayments(const OrderKey& order, const OrderState& before, const OrderState& after) {
    for (const OrderState* state : {&before, &after}) {  // a part goes when its sends do
      for (const PartState& part : state->parts) {
        payments_[{order, part.part}] = {PaidTo(before, part.part), PaidTo(after, part.part)};
      }
    }
  }

  absl::Status TakeAssignments(const std::vector<Assignment>& given) {
    const OpenAssignments& open = *applied_.catalog.assignments;
    std::map<OrderPart, StoredAssignment> changed;
    for (const auto& [part, payment] : payments_) {
      if (payment.before == payment.after) continue;
      // What is not paid and was assigned is open, so most parts need not be looked up.
      if (!payment.before && !open.by_part.contains(part)) continue;
      auto stored = ReadAssignment(part);
      if (!stored.ok()) return stored.status();
      if (!*stored) continue;
      (*stored)->state = StateOf((*stored)->assignment, payment.after);
      changed[part] = **std::move(stored);
    }
    for (const Assignment& assignment : given) {
      const OrderPart part{assignment.order, assignment.part};
      if (changed.contains(part)) continue;
      const auto stored = ReadAssignment(part);
      if (!stored.ok()) return stored.status();
      if (*stored) continue;
      const auto payment = payments_.find(part);
      changed[part] = {
          assignment,
          StateOf(assignment, payment == payments_.end() ? std::nullopt : payment->second.after)};
      applied_.batch.Put(Space::kIndex, AssignedKey(assignment.time, part.first, part.second), "");
    }
    KeepAssignments(changed);
    return absl::OkStatus();
  }

  absl::StatusOr<std::optional<StoredAssignment>> ReadAssignment(const OrderPart& part) const {
    const auto record = snapshot_.Get(Space::kIndex, AssignmentKey(part.first, part.second));
    if (!record.ok()) return record.status();
    if (!*record) return std::nullopt;
    auto stored = DecodeAssignment(**record);
    if (!stored.ok()) return stored.status();
    return *std::move(stored);
  }

  void KeepAssignments(const std::map<OrderPart, StoredAssignment>& changed) {
    if (changed.empty()) return;
    auto open = std::make_shared<OpenAssignments>(*applied_.catalog.assignments);
    for (const auto& [part, stored] : changed) {
      applied_.batch.Put(Space::kIndex, AssignmentKey(part.first, part.second),
                         EncodeAssignment(stored));
      if (stored.state == AssignmentState::kOpen) {
        open->by_part[part] = {stored.assignment.pick.supplier, stored.assignment.time};
      } else {
        open->by_part.erase(part);
      }
    }
    applied_.catalog.assignments = std::move(open);
  }

  void HearFrom(const std::vector<Event>& events, const OrderState& state) {
    for (auto event = events.rbegin(); event != events.rend(); ++event) {
      if (event->type == EventType::kRetracted) continue;
      changes_.Heard(state, event->time);
      return;
    }
  }

  // Finds which of the new events brought each fault, by adding them one at a time.
  void BlameFaults(const OrderKey& order, std::vector<Event> events,
                   const std::vector<size_t>& indexes, const std::vector<OrderEvent>& incoming,
                   OrderState state) {
    for (const size_t i : indexes) {
      EventFate& fate = applied_.fates[i];
      if (fate.kind == EventFate::Kind::kNoSend) continue;
      const Event& event = incoming[i].event;
      if (Tell(events, event) != Told::kNew) continue;
      OrderState next = Fold(order, events, rules_, *applied_.catalog.excuses);
      fate.message = NewFaults(state, next, event.part);
      if (!fate.message.empty()) fate.kind = EventFate::Kind::kContradiction;
      state = std::move(next);
    }
  }

  void NoteSource(const Event& event) {
    SourceWord word;
    word.sends_deliveries = event.type == EventType::kDelivered;
    if (event.type != EventType::kRetracted) word.last_event = event.time;
    Hear(word, SendOf(event) != 0, applied_.catalog.sources[event.source]);
    changed_sources_.insert(event.source);
    applied_.catalog.latest_event = std::max(applied_.catalog.latest_event, word.last_event);
  }

  absl::Status Finish() {
    std::set<Pair> born, gone;
    if (absl::Status status = changes_.AppendTo(snapshot_, applied_.batch, born, gone);
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
  const std::shared_ptr<const ExcuseBook> excuses_before_;
  std::map<OrderKey, std::vector<size_t>> touched_;  // orders to fold again, their new events
  std::map<OrderPart, Payment> payments_;            // of the orders touched
  std::set<std::string> changed_sources_;
  SendLedger sends_;
  std::map<OrderKey, std::vector<int64_t>> taken_back_;  // sends to take out of these orders
  std::vector<int64_t> sends_gone_;                      // this was their last step
  Changes changes_;
  Applied applied_;
};

}  // namespace

absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry) {
  return Application(snapshot, catalog, rules).Run(sequence, entry);
}

}  // namespace plumblane
