#include "engine/applier.h"

#include <absl/container/flat_hash_map.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "engine/assignments.h"
#include "engine/changes.h"
#include "engine/order_events.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

using OrderPart = std::pair<OrderKey, int>;

// An order to fold again.
struct TouchedOrder {
  OrderKey order;
  std::string key;             // of its record
  std::vector<size_t> events;  // of the entry
};

bool IsTaken(const EventFate& fate) {
  return fate.kind == EventFate::Kind::kAccepted || fate.kind == EventFate::Kind::kWaiting;
}

// Whom a part was and is paid to; none while it is not paid.
struct Payment {
  std::optional<std::string> before, after;
};

// One application of one entry; the members are what it works on.
class Application {
 public:
  Application(const Snapshot& snapshot, const Catalog& catalog, const FoldRules& rules,
              WritersMemory& memory)
      : snapshot_(snapshot), rules_(rules), memory_(memory), excuses_before_(catalog.excuses) {
    applied_.catalog = catalog;
  }

  absl::StatusOr<Applied> Run(uint64_t sequence, const LogEntry& entry) {
    applied_.catalog.log_sequence = sequence;
    applied_.fates.resize(entry.content.events.size());
    applied_.standings.resize(entry.content.events.size());
    for (size_t i = 0; i < entry.content.events.size(); ++i) {
      Touch(entry.content.events[i].order).events.push_back(i);
    }
    if (absl::Status status = TakeExcuses(entry.content.excuses); !status.ok()) return status;
    for (const SourceNews& news : entry.content.news) TakeNews(news);
    TakeAgreements(sequence, entry);
    for (const Assignment& given : entry.content.assignments) Touch(given.order);
    keeps_payments_ = !entry.content.assignments.empty();
    if (absl::Status status = TakeEvents(entry.content.events); !status.ok()) return status;
    if (absl::Status status = TakeAssignments(entry.content.assignments); !status.ok()) {
      return status;
    }
    if (auto history = entry.content.history_through) {
      std::optional<Instant>& latest = applied_.catalog.history_through;
      if (!latest || *latest < *history) latest = history;
    }
    TakeAlertNotices(entry.content.alert_notices);
    for (const Delivered& one : entry.content.deliveries) TakeDelivered(one);
    if (absl::Status status = Finish(); !status.ok()) return status;
    // What orders fold to may rest on excuses.
    if (!entry.content.excuses.empty()) memory_.orders.Clear();
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

  absl::Status TakeExcuses(const std::vector<Excuse>& excuses) {
    if (excuses.empty()) return absl::OkStatus();
    auto book = std::make_shared<ExcuseBook>(*excuses_before_);
    for (const Excuse& excuse : excuses) {
      book->Put(excuse);
      applied_.batch.Put(Space::kMeta, ExcuseKey(excuse.excuse_id), EncodeExcuse(excuse));
      if (const auto* one = std::get_if<ExcusedOrder>(&excuse.subject)) {
        Touch(one->order);
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
            Touch(due->part.order);
            return true;
          });
      bad.Update(scanned);
    }
    return bad;
  }

  void TakeNews(const SourceNews& news) {
    Source& source = applied_.catalog.sources[news.source];
    if (const auto* through = std::get_if<Instant>(&news.news)) {
      source.periodic = true;
      source.retired = false;
      if (!source.complete_through || *source.complete_through < *through) {
        source.complete_through = *through;
      }
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
    std::sort(touched_.begin(), touched_.end(),
              [](const TouchedOrder& a, const TouchedOrder& b) { return a.key < b.key; });
    std::vector<Kept<KnownOrder>::Item*> known;
    std::vector<std::string> unknown;
    for (const TouchedOrder& touched : touched_) {
      known.push_back(memory_.orders.Find(touched.key));
      if (!known.back()) unknown.push_back(touched.key);
    }
    auto records = snapshot_.GetAll(Space::kOrders, unknown);
    if (!records.ok()) return records.status();
    auto record = records->begin();
    for (size_t i = 0; i < touched_.size(); ++i) {
      if (!known[i]) {
        KnownOrder read;
        if (*record) {
          auto decoded = DecodeOrder(**record);
          if (!decoded.ok()) return decoded.status();
          read.events = *std::move(decoded);
          read.state = Fold(touched_[i].order, read.events, rules_, *excuses_before_);
        }
        known[i] = memory_.orders.Put(touched_[i].key, std::move(read));
        ++record;
      }
      TakeOrder(touched_[i], *known[i], events);
    }
    return absl::OkStatus();
  }

  void TakeOrder(const TouchedOrder& touched, Kept<KnownOrder>::Item& item,
                 const std::vector<OrderEvent>& incoming) {
    std::vector<Event>& stored = item.value.events;
    const size_t known = stored.size();
    stored.reserve(std::max<size_t>(5, known + touched.events.size()));  // moving events is dear
    for (const size_t i : touched.events) {
      applied_.fates[i].kind = TakeInto(stored, incoming[i].event);
      if (applied_.fates[i].kind == EventFate::Kind::kAccepted) NoteSource(incoming[i].event);
    }
    const bool is_new = stored.size() != known;
    OrderState& state = item.value.state;
    if (!is_new && applied_.catalog.excuses == excuses_before_) {
      return NotePayments(touched.order, state, state);
    }
    const OrderState before =
        std::exchange(state, Fold(touched.order, stored, rules_, *applied_.catalog.excuses));
    changes_.Replace(touched.order, before, state);
    NotePayments(touched.order, before, state);
    if (is_new) TakeNew(touched, item, incoming, before, stored.size() - known);
  }

  void TakeNew(const TouchedOrder& touched, Kept<KnownOrder>::Item& item,
               const std::vector<OrderEvent>& incoming, const OrderState& before, size_t count) {
    const auto& [stored, after] = item.value;
    const StandingDelta was = StandingOf(before), is = StandingOf(after);
    const StandingDelta delta{is.orders - was.orders, is.waiting - was.waiting,
                              is.unpromised - was.unpromised};
    applied_.standings[touched.events.back()] = delta;
    applied_.catalog.order_count += delta.orders;
    applied_.catalog.event_count += static_cast<int64_t>(count);
    std::string record = EncodeOrder(stored);
    memory_.orders.Weigh(item, BytesOf(item.value, record.size()));
    applied_.batch.Put(Space::kOrders, touched.key, std::move(record));
    HearFrom(stored, after);
    for (const size_t i : touched.events) {
      const Event& event = incoming[i].event;
      if (applied_.fates[i].kind == EventFate::Kind::kAccepted &&
          event.type == EventType::kRetracted && WaitsForItsEvent(stored, event)) {
        applied_.fates[i].kind = EventFate::Kind::kWaiting;
      }
    }
    if (HasNewFaults(before, after)) BlameFaults(touched, incoming, stored, before);
  }

  // Of the parts whose assignment may change.
  void NotePayments(const OrderKey& order, const OrderState& before, const OrderState& after) {
    // Parts never go: events are kept.
    for (const PartState& part : after.parts) {
      Payment payment{PaidTo(before, part.part), PaidTo(after, part.part)};
      if (keeps_payments_ || payment.before != payment.after) {
        payments_[{order, part.part}] = std::move(payment);
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

  // Finds which of the new events brought each fault, by adding them one at a time to those that
  // were there before.
  void BlameFaults(const TouchedOrder& touched, const std::vector<OrderEvent>& incoming,
                   const std::vector<Event>& stored, OrderState state) {
    std::vector<Event> events;
    std::copy_if(stored.begin(), stored.end(), std::back_inserter(events), [&](const Event& one) {
      return std::none_of(touched.events.begin(), touched.events.end(), [&](size_t i) {
        return IsTaken(applied_.fates[i]) && IsSame(one, incoming[i].event);
      });
    });
    for (const size_t i : touched.events) {
      EventFate& fate = applied_.fates[i];
      const Event& event = incoming[i].event;
      if (!IsTaken(fate)) continue;
      TakeInto(events, event);
      OrderState next = Fold(touched.order, events, rules_, *applied_.catalog.excuses);
      fate.message = NewFaults(state, next, event.part);
      if (!fate.message.empty()) fate.kind = EventFate::Kind::kContradiction;
      state = std::move(next);
    }
  }

  void NoteSource(const Event& event) {
    if (event_source_ == nullptr || event_source_->first != event.source) {
      event_source_ = &*applied_.catalog.sources.try_emplace(event.source).first;
      changed_sources_.insert(event.source);
    }
    Source& source = event_source_->second;
    if (event.type == EventType::kDelivered) source.sends_deliveries = true;
    if (event.type == EventType::kRetracted) return;
    if (!source.last_event || *source.last_event < event.time) source.last_event = event.time;
    std::optional<Instant>& latest = applied_.catalog.latest_event;
    if (!latest || *latest < event.time) latest = event.time;
  }

  absl::Status Finish() {
    std::set<Pair> born, gone;
    if (absl::Status status =
            changes_.AppendTo(snapshot_, memory_.pages, applied_.batch, born, gone);
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
      applied_.batch.Put(Space::kMeta, SourceKey(name),
                         EncodeSource(applied_.catalog.sources.at(name)));
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
  bool keeps_payments_ = false;
  std::map<OrderPart, Payment> payments_;  // of the parts touched
  std::set<std::string> changed_sources_;
  std::pair<const std::string, Source>* event_source_ = nullptr;  // of the last event
  Changes changes_;
  Applied applied_;
};

}  // namespace

absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry,
                              WritersMemory& memory) {
  return Application(snapshot, catalog, rules, memory).Run(sequence, entry);
}

}  // namespace plumblane
