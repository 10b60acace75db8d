#include "orders/fold.h"

#include <algorithm>
#include <map>
#include <tuple>
#include <utility>

#include "orders/facts.h"

namespace plumblane {
namespace {

using Feed = std::pair<int, std::string_view>;  // part and source

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
  struct PartEvents {
    std::vector<const Event*> events;
    std::vector<Ignored> ignored;
  };
  std::map<int, PartEvents> by_part;
  for (size_t i = 0; i < events.size(); ++i) {
    PartEvents& part = by_part[events[i].part];
    part.events.push_back(&events[i]);
    part.ignored.push_back(ignored[i]);
  }

  OrderState state;
  for (const auto& [number, part] : by_part) {
    state.parts.push_back(FactsOf(order, number, part.events, part.ignored, rules, excuses));
  }

  // `replaces` is always below the part's own number, so following it ends. A link to a part that
  // is not known leaves the cost with the last known one.
  std::map<int, PartState*> known;
  for (PartState& part : state.parts) known[part.part] = &part;
  std::map<int, ReplacementCost> costs;
  for (PartState& part : state.parts) {
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
  for (PartState& part : state.parts) {
    part.entries = EntriesOf(part, costs[part.part], rules);
  }
  return state;
}

}  // namespace plumblane
