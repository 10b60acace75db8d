#include "engine/applier.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <map>
#include <set>

#include "engine/assignments.h"
#include "engine/changes.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

// Adds an event to an order's record. `events` stays sorted.
EventFate::Kind Take(std::vector<Event>& events, const Event& event) {
  for (const Event& known : events) {
    if (known.event_id == event.event_id && known.source == event.source &&
        known.part == event.part) {
      return known.content_hash == event.content_hash ? EventFate::Kind::kDuplicate
                                                      : EventFate::Kind::kConflict;
    }
  }
  if (events.size() >= kMaxEventsPerOrder) return EventFate::Kind::kOrderFull;
  events.insert(std::upper_bound(events.begin(), events.end(), event, Earlier), event);
  return EventFate::Kind::kAccepted;
}

bool WaitsForItsEvent(const std::vector<Event>& events, const Event& retraction) {
  return std::none_of(events.begin(), events.end(), [&](const Event& event) {
    return event.event_id == retraction.retracts && event.source == retraction.source &&
           event.part == retraction.part;
  });
}

const std::vector<Fault>& FaultsOf(const OrderState& state, int part) {
  static const std::vector<Fault> none;
  for (const PartState& one : state.parts) {
    if (one.part == part) return one.faults;
  }
  return none;
}

// The faults that the part has now and had not before, in words.
std::string NewFaults(const OrderState& before, const OrderState& after, int part) {
  std::vector<absl::string_view> words;
  const std::vector<Fault>& old_faults = FaultsOf(before, part);
  for (const Fault fault : FaultsOf(after, part)) {
    if (!std::binary_search(old_faults.begin(), old_faults.end(), fault)) {
      const std::string_view word = Describe(fault);
      words.emplace_back(word.data(), word.size());
    }
  }
  return absl::StrJoin(words, "; ");
}

bool HasNewFaults(const OrderState& before, const OrderState& after) {
  return std::any_of(after.parts.begin(), after.parts.end(), [&](const PartState& part) {
    return !NewFaults(before, after, part.part).empty();
  });
}

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
    TakeAlertNotices(entry.content.alert_notices);
    for (const Delivered& one : entry.content.deliveries) TakeDelivered(one);
    if (absl::Status status = Finish(); !status.ok()) return status;
    return std::move(applied_);
  }

 private:
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
    for (const size_t i : indexes) {
      applied_.fates[i].kind = Take(stored, incoming[i].event);
      if (applied_.fates[i].kind == EventFate::Kind::kAccepted) NoteSource(incoming[i].event);
    }
    const OrderState after = Fold(order, stored, rules_, *applied_.catalog.excuses);
    changes_.Replace(order, before, after);
    NotePayments(order, before, after);

    const StandingDelta was = StandingOf(before), is = StandingOf(after);
    const StandingDelta delta{is.orders - was.orders, is.waiting - was.waiting,
                              is.unpromised - was.unpromised};
    if (!indexes.empty()) applied_.standings[indexes.back()] = delta;
    if (stored.size() == known.size()) return;
    applied_.catalog.order_count += delta.orders;
    applied_.catalog.event_count += static_cast<int64_t>(stored.size() - known.size());
    applied_.batch.Put(Space::kOrders, key, EncodeOrder(stored));
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

  void NotePayments(const OrderKey& order, const OrderState& before, const OrderState& after) {
    // Parts never go: events are kept.
    for (const PartState& part : after.parts) {
      payments_[{order, part.part}] = {PaidTo(before, part.part), PaidTo(after, part.part)};
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
      const Event& event = incoming[i].event;
      if (Take(events, event) != EventFate::Kind::kAccepted) continue;
      OrderState next = Fold(order, events, rules_, *applied_.catalog.excuses);
      fate.message = NewFaults(state, next, event.part);
      if (!fate.message.empty()) fate.kind = EventFate::Kind::kContradiction;
      state = std::move(next);
    }
  }

  void NoteSource(const Event& event) {
    Source& source = applied_.catalog.sources[event.source];
    changed_sources_.insert(event.source);
    if (event.type == EventType::kDelivered) source.sends_deliveries = true;
    if (event.type == EventType::kRetracted) return;
    if (!source.last_event || *source.last_event < event.time) source.last_event = event.time;
    std::optional<Instant>& latest = applied_.catalog.latest_event;
    if (!latest || *latest < event.time) latest = event.time;
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
      applied_.batch.Put(Space::kMeta, SourceKey(name),
                         EncodeSource(applied_.catalog.sources.at(name)));
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
  Changes changes_;
  Applied applied_;
};

}  // namespace

absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry) {
  return Application(snapshot, catalog, rules).Run(sequence, entry);
}

}  // namespace plumblane
