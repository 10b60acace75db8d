#include "engine/order_work.h"

#include <algorithm>
#include <utility>

#include "engine/fates.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

// Of an order's events before an entry.
struct Before {
  size_t events = 0;
  std::vector<int64_t> sends;
  bool are_there_still = true;  // as they were; others were added only
};

// Parts known, waiting, unpromised.
StandingDelta StandingOf(const OrderState& state) {
  StandingDelta standing;
  for (const PartState& part : state.parts) {
    ++standing.orders;
    if (!part.counts()) {
      ++standing.waiting;
    } else if (!part.promised_day) {
      ++standing.unpromised;
    }
  }
  return standing;
}

class OrderWork {
 public:
  OrderWork(const OrderTask& task, Kept<KnownOrder>& memory) : task_(task), memory_(memory) {
    if (task.keeps_unchanged_payments) results_.payments.KeepUnchanged();
  }

  absl::StatusOr<OrderResults> Run(const std::vector<size_t>& events, TouchedOrders& orders) {
    for (const size_t i : events) orders.Touch(task_.events[i]->order).events.push_back(i);
    const std::vector<TouchedOrder*> touched = orders.Sorted();
    std::vector<Kept<KnownOrder>::Item*> known;
    const bool some_left = task_.catalog.purged_count + task_.catalog.erased_count > 0;
    std::vector<std::string> unknown, marks;
    for (const TouchedOrder* one : touched) {
      known.push_back(memory_.Find(one->key));
      if (!known.back()) unknown.push_back(one->key);
      if (!known.back() && some_left) marks.push_back(GoneKey(one->order));
    }
    auto records = task_.snapshot.GetAll(Space::kOrders, unknown);
    if (!records.ok()) return records.status();
    auto gone = task_.snapshot.GetAll(Space::kIndex, marks);
    if (!gone.ok()) return gone.status();
    auto record = records->begin();
    auto mark = gone->begin();
    for (size_t i = 0; i < touched.size(); ++i) {
      if (!known[i]) {
        KnownOrder read;
        if (*record) {
          auto decoded = DecodeOrder(**record);
          if (!decoded.ok()) return decoded.status();
          read.events = *std::move(decoded);
          read.state = Fold(touched[i]->order, read.events, task_.rules, task_.excuses_before);
        }
        if (some_left) read.gone = (mark++)->has_value();
        const size_t bytes = BytesOf(read, *record ? (**record).size() : 0);
        known[i] = memory_.Put(touched[i]->key, std::move(read), bytes);
        ++record;
      }
      if (absl::Status taken = Take(*touched[i], *known[i]); !taken.ok()) return taken;
    }
    results_.changes.SumUp();
    memory_.MakeRoom();
    return std::move(results_);
  }

 private:
  absl::Status Take(const TouchedOrder& touched, Kept<KnownOrder>::Item& item) {
    if (item.value.gone) {
      Refuse(touched);
      return absl::OkStatus();
    }
    std::vector<Event>& stored = item.value.events;
    Before known{stored.size(), SendsOf(stored)};
    stored.reserve(std::max<size_t>(5, known.events + touched.events.size()));  // moving is dear
    bool changed = TakeBackFrom(touched.order, stored);
    known.are_there_still = !changed;
    for (const size_t i : touched.events) {
      const Event& event = task_.events[i]->event;
      if (!task_.sends.Takes(SendOf(event))) {
        task_.fates[i].kind = EventFate::Kind::kNoSend;
        continue;
      }
      const Told told = Tell(stored, event);
      task_.fates[i].kind = FateOf(told);
      if (told != Told::kNew && told != Told::kAgain) continue;
      NoteSource(event);
      changed = true;
      if (told == Told::kAgain || event.revision) known.are_there_still = false;
    }
    OrderState& state = item.value.state;
    if (task_.leaving.IsErased(touched.order) && (known.events > 0 || changed)) {
      changed = true;
      stored.clear();
      Leave(touched, item);
    }
    const ExcuseBook& excuses = *task_.catalog.excuses;
    if (!changed && &excuses == &task_.excuses_before) {
      results_.payments.Note(touched.order, state, state);
      const TermsBook& terms = task_.catalog.agreements->terms;
      if (touched.events.empty() &&
          task_.leaving.IsPurged(touched.order, state, stored, task_.rules, terms)) {
        results_.changes.LetGo(touched.order, state);
        const OrderState before = std::exchange(state, {});
        stored.clear();
        Leave(touched, item);
        return Keep(touched, item, before, known);
      }
      return absl::OkStatus();
    }
    const OrderState before =
        std::exchange(state, Fold(touched.order, stored, task_.rules, excuses));
    results_.changes.Replace(touched.order, before, state);
    results_.payments.Note(touched.order, before, state);
    return changed ? Keep(touched, item, before, known) : absl::OkStatus();
  }

  // What is told of an order that is no longer kept is not taken.
  void Refuse(const TouchedOrder& touched) {
    for (const size_t i : touched.events) task_.fates[i].kind = EventFate::Kind::kNotKept;
    results_.not_kept.push_back(touched.order);
  }

  void Leave(const TouchedOrder& touched, Kept<KnownOrder>::Item& item) {
    item.value.gone = true;
    results_.left.push_back(touched.order);
    Refuse(touched);
  }

  absl::Status Keep(const TouchedOrder& touched, Kept<KnownOrder>::Item& item,
                    const OrderState& before, const Before& known) {
    const std::vector<Event>& stored = item.value.events;
    const OrderState& after = item.value.state;
    const StandingDelta was = StandingOf(before), is = StandingOf(after);
    const StandingDelta delta{is.orders - was.orders, is.waiting - was.waiting,
                              is.unpromised - was.unpromised};
    if (!touched.events.empty() && !item.value.gone) task_.standings[touched.events.back()] = delta;
    results_.order_count += delta.orders;
    results_.event_count +=
        static_cast<int64_t>(stored.size()) - static_cast<int64_t>(known.events);
    std::string record = stored.empty() ? "" : EncodeOrder(stored);
    memory_.Weigh(item, BytesOf(item.value, record.size()));
    if (stored.empty()) {
      results_.batch.Delete(Space::kOrders, touched.key);
    } else {
      results_.batch.Put(Space::kOrders, touched.key, std::move(record));
    }
    IndexSends(touched.order, known.sends, stored, results_.batch);
    HearFrom(stored, after);
    for (const size_t i : touched.events) {
      const Event& event = task_.events[i]->event;
      if (task_.fates[i].kind == EventFate::Kind::kAccepted &&
          event.type == EventType::kRetracted && WaitsForItsEvent(stored, event)) {
        task_.fates[i].kind = EventFate::Kind::kWaiting;
      }
    }
    if (!HasNewFaults(before, after)) return absl::OkStatus();
    auto events_before = EventsBefore(touched, stored, known);
    if (!events_before.ok()) return events_before.status();
    BlameFaults({touched.order, before, *std::move(events_before), touched.events}, task_.events,
                task_.rules, *task_.catalog.excuses, task_.fates);
    return absl::OkStatus();
  }

  // Taken out of what they are now where that can be told, else read again.
  absl::StatusOr<std::vector<Event>> EventsBefore(const TouchedOrder& touched,
                                                  const std::vector<Event>& stored,
                                                  const Before& known) const {
    if (!known.are_there_still) {
      const auto record = task_.snapshot.Get(Space::kOrders, touched.key);
      if (!record.ok()) return record.status();
      return *record ? DecodeOrder(**record) : std::vector<Event>();
    }
    std::vector<Event> before;
    for (const Event& event : stored) {
      const bool is_new =
          std::any_of(touched.events.begin(), touched.events.end(), [&](const size_t i) {
            const EventFate::Kind fate = task_.fates[i].kind;
            return (fate == EventFate::Kind::kAccepted || fate == EventFate::Kind::kWaiting) &&
                   IsSameId(task_.events[i]->event, event);
          });
      if (!is_new) before.push_back(event);
    }
    return before;
  }

  // Takes out what sends taken back had told; false when nothing.
  bool TakeBackFrom(const OrderKey& order, std::vector<Event>& events) {
    if (task_.taken_back.empty()) return false;
    const auto sends = task_.taken_back.find(order);
    if (sends == task_.taken_back.end()) return false;
    for (const int64_t send : sends->second) {
      results_.taken_back.emplace_back(send, TakeBack(events, send));
    }
    return true;
  }

  void HearFrom(const std::vector<Event>& events, const OrderState& state) {
    for (auto event = events.rbegin(); event != events.rend(); ++event) {
      if (event->type == EventType::kRetracted) continue;
      results_.changes.Heard(state, event->time);
      return;
    }
  }

  void NoteSource(const Event& event) {
    if (last_source_ == nullptr || last_source_->first != event.source) {
      last_source_ = &*results_.words.try_emplace(event.source).first;
    }
    SourceWord word;
    word.sends_deliveries = event.type == EventType::kDelivered;
    if (event.type != EventType::kRetracted) word.last_event = event.time;
    OrderResults::Word& words = last_source_->second;
    std::optional<SourceWord>& known = SendOf(event) != 0 ? words.by_sends : words.outside;
    if (!known) known.emplace();
    known->Add(word);
    results_.latest_event = std::max(results_.latest_event, word.last_event);
  }

  const OrderTask& task_;
  Kept<KnownOrder>& memory_;
  OrderResults results_;
  std::pair<const std::string, OrderResults::Word>* last_source_ = nullptr;  // of the last event
};

}  // namespace

TouchedOrder& TouchedOrders::Touch(const OrderKey& order) {
  const auto known = by_name_.find(Name(order.shop, order.order_id));
  if (known != by_name_.end()) return *known->second;
  TouchedOrder& touched = all_.emplace_back(TouchedOrder{order, OrderRecordKey(order), {}});
  by_name_.emplace(Name(touched.order.shop, touched.order.order_id), &touched);
  return touched;
}

std::vector<TouchedOrder*> TouchedOrders::Sorted() {
  std::vector<TouchedOrder*> sorted;
  sorted.reserve(all_.size());
  for (TouchedOrder& one : all_) sorted.push_back(&one);
  std::sort(sorted.begin(), sorted.end(),
            [](const TouchedOrder* a, const TouchedOrder* b) { return a->key < b->key; });
  return sorted;
}

absl::StatusOr<OrderResults> TakeOrders(const OrderTask& task, const std::vector<size_t>& events,
                                        TouchedOrders touched, Kept<KnownOrder>& memory) {
  return OrderWork(task, memory).Run(events, touched);
}

}  // namespace plumblane
