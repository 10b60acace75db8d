#include "orders/fold.h"

#include <absl/container/inlined_vector.h>

#include <algorithm>
#include <map>
#include <numeric>
#include <tuple>
#include <utility>

#include "orders/facts.h"

namespace plumblane {
namespace {

using Feed = std::pair<int, std::string_view>;  // part and source

// `replaces` is always below the part's own number, so following it ends. A link to a part that is
// not known leaves the cost with the last known one, and is a fault.
std::map<int, ReplacementCost> CostsOfReplacements(std::vector<PartState>& parts) {
  std::map<int, ReplacementCost> costs;
  if (std::all_of(parts.begin(), parts.end(), [](const auto& part) { return !part.replaces; })) {
    return costs;
  }
  std::map<int, const PartState*> known;
  for (const PartState& part : parts) known[part.part] = &part;
  for (PartState& part : parts) {
    int first = part.part;
    while (known.at(first)->replaces != 0 && known.contains(known.at(first)->replaces)) {
      first = known.at(first)->replaces;
    }
    if (part.replaces != 0 && !known.contains(part.replaces)) {
      part.faults.push_back(Fault::kReplacesUnknownPart);
    }
    if (first == part.part) continue;
    costs[part.part].own_counts_elsewhere = true;
    if (part.cost) costs[first].of_replacements[part.cost->currency] += part.cost->minor_units;
  }
  return costs;
}

}  // namespace

std::string_view Describe(Fault fault) {
  switch (fault) {
    case Fault::kShippedBeforePaid:
      return "shipped before it was paid";
    case Fault::kDeliveredBeforePaid:
      return "delivered before it was paid";
    case Fault::kDeliveredBeforeShipped:
      return "delivered before it was shipped";
    case Fault::kCancelledBeforePaid:
      return "cancelled before it was paid";
    case Fault::kDeliveredAfterCancelled:
      return "shipped or delivered after it was cancelled";
    case Fault::kAnsweredUndisputed:
      return "answered with no dispute before";
    case Fault::kOtherSupplier:
      return "events name different suppliers; the earliest counts";
    case Fault::kOtherLane:
      return "events name different lanes; the earliest counts";
    case Fault::kPromiseAfterTheFact:
      return "the promise was given after its own moment";
    case Fault::kRetractsRetraction:
      return "a retraction cannot be retracted";
    case Fault::kReplacesUnknownPart:
      return "it replaces a part that is not known";
  }
  return "";
}

std::vector<Ignored> EventsInEffect(const std::vector<Event>& events) {
  std::vector<Ignored> ignored(events.size(), Ignored::kNo);
  std::map<Feed, Instant> latest;
  for (const Event& event : events) {
    if (!event.revision) continue;
    Instant& revision =
        latest.try_emplace({event.part, event.source}, *event.revision).first->second;
    revision = std::max(revision, *event.revision);
  }
  using Named = std::tuple<int, std::string_view, std::string_view>;
  std::vector<Named> retracted;
  for (size_t i = 0; i < events.size(); ++i) {
    const Event& event = events[i];
    if (event.revision && *event.revision < latest.at({event.part, event.source})) {
      ignored[i] = Ignored::kOlderRevision;
    } else if (event.type == EventType::kRetracted) {
      retracted.emplace_back(event.part, event.source, event.retracts);
    }
  }
  if (retracted.empty()) return ignored;
  std::sort(retracted.begin(), retracted.end());
  for (size_t i = 0; i < events.size(); ++i) {
    const Event& event = events[i];
    if (ignored[i] == Ignored::kNo && event.type != EventType::kRetracted &&
        std::binary_search(retracted.begin(), retracted.end(),
                           Named{event.part, event.source, event.event_id})) {
      ignored[i] = Ignored::kRetracted;
    }
  }
  return ignored;
}

OrderState Fold(const OrderKey& order, const std::vector<Event>& events, const FoldRules& rules,
                const ExcuseBook& excuses) {
  const std::vector<Ignored> ignored = EventsInEffect(events);
  constexpr size_t kFew = 8;  // as most orders have; no need to allocate
  absl::InlinedVector<size_t, kFew> by_part(events.size());
  std::iota(by_part.begin(), by_part.end(), 0);
  const auto is_of_lower = [&](size_t a, size_t b) { return events[a].part < events[b].part; };
  if (!std::is_sorted(by_part.begin(), by_part.end(), is_of_lower)) {
    std::stable_sort(by_part.begin(), by_part.end(), is_of_lower);
  }
  OrderState state;
  for (size_t i = 0; i < by_part.size();) {
    const int number = events[by_part[i]].part;
    absl::InlinedVector<const Event*, kFew> events_of_part;
    absl::InlinedVector<Ignored, kFew> ignored_of_part;
    for (; i < by_part.size() && events[by_part[i]].part == number; ++i) {
      events_of_part.push_back(&events[by_part[i]]);
      ignored_of_part.push_back(ignored[by_part[i]]);
    }
    ReadPart(order, number, events_of_part, ignored_of_part, rules, excuses,
             state.parts.emplace_back());
  }
  const std::map<int, ReplacementCost> costs = CostsOfReplacements(state.parts);
  for (PartState& part : state.parts) {
    const auto cost = costs.find(part.part);
    part.entries = EntriesOf(part, cost == costs.end() ? ReplacementCost() : cost->second, rules);
  }
  return state;
}

}  // namespace plumblane
