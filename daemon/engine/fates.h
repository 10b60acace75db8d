// What an entry's sender is told of each event. Private to engine/.
#pragma once

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

}  // namespace plumblane
