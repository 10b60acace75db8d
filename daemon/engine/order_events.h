// What one more event means for an order that is known. Private to engine/.
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <vector>

#include "engine/submission.h"
#include "orders/fold.h"

namespace plumblane {

// They have one id.
bool IsSame(const Event& a, const Event& b);

// Adds an event to an order's record, which stays sorted: kAccepted; or says why not.
EventFate::Kind TakeInto(std::vector<Event>& events, const Event& event);

// The event that it takes back is not among them.
bool WaitsForItsEvent(const std::vector<Event>& events, const Event& retraction);

// The faults that the part has now and had not before, in words.
std::string NewFaults(const OrderState& before, const OrderState& after, int part);
bool HasNewFaults(const OrderState& before, const OrderState& after);

}  // namespace plumblane
