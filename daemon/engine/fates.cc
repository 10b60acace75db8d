#include "engine/fates.h"

#include <absl/strings/str_join.h>

#include <algorithm>
#include <utility>

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

EventFate::Kind FateOf(Told told) {
  switch (told) {
    case Told::kNew:
      return EventFate::Kind::kAccepted;
    case Told::kConflict:
      return EventFate::Kind::kConflict;
    case Told::kFull:
      return EventFate::Kind::kOrderFull;
    default:
      return EventFate::Kind::kDuplicate;
  }
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
    const std::vector<Fault>& known = FaultsOf(before, part.part);
    return !std::includes(known.begin(), known.end(), part.faults.begin(), part.faults.end());
  });
}

void BlameFaults(FaultyOrder faulty, const std::vector<const OrderEvent*>& incoming,
                 const FoldRules& rules, const ExcuseBook& excuses, std::vector<EventFate>& fates) {
  for (const size_t i : faulty.events) {
    EventFate& fate = fates[i];
    if (fate.kind == EventFate::Kind::kNoSend) continue;
    const Event& event = incoming[i]->event;
    if (Tell(faulty.events_before, event) != Told::kNew) continue;
    OrderState next = Fold(faulty.order, faulty.events_before, rules, excuses);
    fate.message = NewFaults(faulty.before, next, event.part);
    if (!fate.message.empty()) fate.kind = EventFate::Kind::kContradiction;
    faulty.before = std::move(next);
  }
}

}  // namespace plumblane
