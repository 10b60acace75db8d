// What an entry's sender is told of each event. Private to engine/.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "engine/submission.h"
#include "orders/fold.h"
#include "orders/tellings.h"

namespace plumblane {

EventFate::Kind FateOf(Told told);

// The event that it names is not among them.
bool WaitsForItsEvent(const std::vector<Event>& events, const Event& retraction);

// The faults that the part has now and had not before, in words.
std::string NewFaults(const OrderState& before, const OrderState& after, int part);
bool HasNewFaults(const OrderState& before, const OrderState& after);

// Finds which of an order's new events brought each fault, by adding them one at a time to those
// that it had before. Seldom needed.
struct FaultyOrder {
  const OrderKey& order;
  OrderState before;
  std::vector<Event> events_before;
  std::span<const size_t> events;  // in incoming
};
void BlameFaults(FaultyOrder faulty, const std::vector<const OrderEvent*>& incoming,
                 const FoldRules& rules, const ExcuseBook& excuses, std::vector<EventFate>& fates);

}  // namespace plumblane
