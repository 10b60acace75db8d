// The fold against a naive model that reads the rules of orders/fold.h one by one, with no thought
// for speed; and that neither the order in which events come nor how often changes anything.
#include <algorithm>
#include <set>

#include "fuzz/fuzz.h"
#include "orders/fold.h"
#include "orders/tellings.h"
#include "storage/order_codec.h"

namespace {

using namespace plumblane;
using fuzz::Input;

const OrderKey kOrder = {"shop", "1"};

// Few values of each kind, so that events meet.
Event MakeEvent(Input& input) {
  Event event;
  event.source = input.Choose(2) == 0 ? "a" : "b";
  event.event_id = std::to_string(input.Choose(6));
  event.part = 1 + static_cast<int>(input.Choose(2));
  event.type = static_cast<EventType>(1 + input.Choose(8));
  event.time = {20'000 * kMillisPerDay +
                static_cast<int64_t>(input.Choose(60)) * kMillisPerDay / 2};
  const size_t said = input.Choose(64);
  if ((said & 1) != 0) event.supplier = input.Choose(2) == 0 ? "lotus" : "amber";
  if ((said & 2) != 0) event.origin = input.Choose(2) == 0 ? "VN" : "TR";
  if ((said & 4) != 0) event.destination = "DE";
  if ((said & 8) != 0) {
    event.promise = event.time + (static_cast<int64_t>(input.Choose(16)) - 2) * kMillisPerDay;
  } else if (event.type == EventType::kPaid && event.event_id < "3") {
    // Intake adds it to what was said: no content, so the same whenever the same is said.
    event.promise = event.time + 5 * kMillisPerDay;
    event.promise_implied = true;
  }
  if ((said & 16) != 0) event.cost = Money{static_cast<int64_t>(input.Choose(9)), "EUR"};
  if ((said & 32) != 0) {
    event.revision = Instant{20'000 * kMillisPerDay + static_cast<int64_t>(input.Choose(3))};
  }
  if (event.type == EventType::kDisputed || event.type == EventType::kRefunded ||
      event.type == EventType::kCancelled) {
    event.reason = static_cast<Reason>(input.Choose(16));
    event.refund_by_shop = event.type == EventType::kRefunded && input.Choose(2) == 0;
  }
  if (event.type == EventType::kRetracted) event.retracts = std::to_string(input.Choose(6));
  if (event.part == 2 && input.Choose(4) == 0) event.replaces = 1;
  event.content_hash = ContentHash(kOrder, event);
  return event;
}

// ---- the naive model ----------------------------------------------------------------------------

bool IsOfTheLatestRevision(const std::vector<Event>& all, const Event& event) {
  return !event.revision || std::none_of(all.begin(), all.end(), [&](const Event& other) {
    return other.part == event.part && other.source == event.source && other.revision &&
           *other.revision > *event.revision;
  });
}

Ignored WhyIgnored(const std::vector<Event>& all, const Event& event) {
  if (!IsOfTheLatestRevision(all, event)) return Ignored::kOlderRevision;
  if (event.type == EventType::kRetracted) return Ignored::kNo;
  const bool retracted = std::any_of(all.begin(), all.end(), [&](const Event& other) {
    return other.type == EventType::kRetracted && other.part == event.part &&
           other.source == event.source && other.retracts == event.event_id &&
           IsOfTheLatestRevision(all, other);
  });
  return retracted ? Ignored::kRetracted : Ignored::kNo;
}

// The events of a part in effect, earliest first.
std::vector<Event> InEffect(const std::vector<Event>& all, int part) {
  std::vector<Event> events;
  for (const Event& event : all) {
    if (event.part == part && event.type != EventType::kRetracted &&
        WhyIgnored(all, event) == Ignored::kNo) {
      events.push_back(event);
    }
  }
  return events;
}

std::optional<Event> FirstOf(const std::vector<Event>& events, EventType type) {
  for (const Event& event : events) {
    if (event.type == type) return event;
  }
  return std::nullopt;
}
std::optional<Instant> TimeOf(const std::optional<Event>& event) {
  return event ? std::optional(event->time) : std::nullopt;
}

std::string FirstText(const std::vector<Event>& events, std::string Event::*field) {
  for (const Event& event : events) {
    if (!(event.*field).empty()) return event.*field;
  }
  return "";
}

std::optional<Promise> PromiseOf(const std::vector<Event>& events) {
  for (const bool implied : {false, true}) {
    for (const Event& event : events) {
      if (event.promise && event.promise_implied == implied) {
        return Promise{*event.promise, implied, *event.promise >= event.time};
      }
    }
  }
  return std::nullopt;
}

bool IsEarly(const std::vector<Event>& events, const Event& cancelled) {
  return std::none_of(events.begin(), events.end(), [&](const Event& event) {
    return (event.type == EventType::kShipped || event.type == EventType::kDelivered) &&
           event.time < cancelled.time;
  });
}

// What on_time says of the part: not in it, open, or its delay against the deadline.
struct OnTime {
  bool entered = false, excused = false;
};
OnTime OnTimeOf(const std::vector<Event>& events, const PartState& state, bool withdrawn) {
  OnTime on_time;
  const bool counts =
      !state.supplier.empty() && !state.lane.origin.empty() && !state.lane.destination.empty();
  on_time.entered = counts && state.promise && state.promise->counted && !withdrawn;
  on_time.excused = std::any_of(events.begin(), events.end(), [](const Event& event) {
    return (event.type == EventType::kDisputed || event.type == EventType::kRefunded) &&
           (event.reason == Reason::kWrongAddress || event.reason == Reason::kRefused);
  });
  return on_time;
}

void CheckPart(const std::vector<Event>& all, const PartState& part, const FoldRules& rules) {
  const std::vector<Event> events = InEffect(all, part.part);
  FUZZ_CHECK(part.supplier == FirstText(events, &Event::supplier));
  FUZZ_CHECK(part.lane.origin == FirstText(events, &Event::origin));
  FUZZ_CHECK(part.lane.destination == FirstText(events, &Event::destination));
  FUZZ_CHECK(part.paid == TimeOf(FirstOf(events, EventType::kPaid)));
  FUZZ_CHECK(part.shipped == TimeOf(FirstOf(events, EventType::kShipped)));
  FUZZ_CHECK(part.delivered == TimeOf(FirstOf(events, EventType::kDelivered)));
  FUZZ_CHECK(part.disputed == TimeOf(FirstOf(events, EventType::kDisputed)));
  const std::optional<Event> cancelled = FirstOf(events, EventType::kCancelled);
  FUZZ_CHECK(part.cancelled == TimeOf(cancelled));
  FUZZ_CHECK(part.promise == PromiseOf(events));

  std::optional<Instant> deadline;
  if (part.promise && part.promise->counted) {
    deadline = part.promise->time + rules.tolerance_millis;
  }
  FUZZ_CHECK(part.deadline == deadline);
  const bool withdrawn = cancelled && deadline && IsEarly(events, *cancelled) &&
                         cancelled->time <= *deadline && cancelled->reason != Reason::kOutOfStock &&
                         cancelled->reason != Reason::kLate &&
                         cancelled->reason != Reason::kNotReceived;
  FUZZ_CHECK(part.withdrawn == withdrawn);

  std::optional<Instant> answered;
  if (part.disputed) {
    for (const Event& event : events) {
      const bool answers = event.type == EventType::kAnswered ||
                           (event.type == EventType::kRefunded && !event.refund_by_shop);
      if (answers && event.time >= *part.disputed && (!answered || event.time < *answered)) {
        answered = event.time;
      }
    }
  }
  FUZZ_CHECK(part.answered == answered);

  const OnTime expected = OnTimeOf(events, part, withdrawn);
  const auto entry = std::find_if(part.entries.begin(), part.entries.end(),
                                  [](const Entry& one) { return one.measure == Measure::kOnTime; });
  FUZZ_CHECK((entry != part.entries.end()) == expected.entered);
  if (!expected.entered) return;
  FUZZ_CHECK(entry->excused == expected.excused && entry->entered == 1);
  FUZZ_CHECK(entry->day == DayOf(*deadline));
  FUZZ_CHECK(entry->outcomes.size() == (part.delivered ? 1 : 0));
}

// ---- what must hold of any set ------------------------------------------------------------------

std::vector<Event> Taken(const std::vector<Event>& events, bool& conflict) {
  std::vector<Event> taken;
  for (const Event& event : events) conflict |= Tell(taken, event) == Told::kConflict;
  return taken;
}

void CheckCells(const OrderState& state) {
  Cells cells;
  for (const PartState& part : state.parts) {
    for (const Entry& entry : part.entries) cells.Add(part.pair(), entry, 1);
  }
  for (const auto& [key, cell] : cells.map()) FUZZ_CHECK(IsPlausible(key.measure, cell));
  for (const PartState& part : state.parts) {
    for (const Entry& entry : part.entries) cells.Add(part.pair(), entry, -1);
  }
  FUZZ_CHECK(cells.empty());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  Input input(data, size);
  FoldRules rules;
  rules.lost_after_days = 1 + static_cast<int>(input.Choose(40));
  rules.tolerance_millis = static_cast<int64_t>(input.Choose(48)) * 3'600'000;
  std::vector<Event> sent;
  for (size_t count = input.Choose(13); count > 0; --count) sent.push_back(MakeEvent(input));

  bool conflict = false;
  const std::vector<Event> kept = Taken(sent, conflict);
  FUZZ_CHECK(std::is_sorted(kept.begin(), kept.end(), Earlier));
  const auto read = DecodeOrder(EncodeOrder(kept));
  FUZZ_CHECK(read.ok() && *read == kept);

  const OrderState state = Fold(kOrder, kept, rules, {});
  std::set<int> parts;
  for (const Event& event : kept) parts.insert(event.part);
  FUZZ_CHECK(state.parts.size() == parts.size());
  const std::vector<Ignored> ignored = EventsInEffect(kept);
  for (size_t i = 0; i < kept.size(); ++i) FUZZ_CHECK(ignored[i] == WhyIgnored(kept, kept[i]));
  for (const PartState& part : state.parts) CheckPart(kept, part, rules);
  CheckCells(state);

  std::vector<Event> other = sent;
  std::reverse(other.begin(), other.end());
  other.insert(other.end(), sent.begin(), sent.end());
  const std::vector<Event> otherwise = Taken(other, conflict);
  // Of two in conflict the first stays, whichever it is; where one had become superfluous before
  // the other came they never met.
  FUZZ_CHECK(conflict || otherwise == kept);
  return 0;
}
