#include "engine/order_events.h"

#include <absl/strings/str_join.h>
#include <absl/strings/string_view.h>

#include <algorithm>

namespace plumblane {
namespace {

const std::vector<Fault>& FaultsOf(const OrderState& state, int part) {
  static const std::vector<Fault> none;
  for (const PartState& one : state.parts) {
    if (one.part == part) return one.faults;
  }
  return none;
}

}  // namespace

bool IsSame(const Event& a, const Event& b) {
  return a.event_id == b.event_id && a.source == b.source && a.part == b.part;
}

EventFate::Kind TakeInto(std::vector<Event>& events, const Event& event) {
  for (const Event& known : events) {
    if (IsSame(known, event)) {
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

}  // namespace plumblane
