// Orders to chase and claims to press, as tables with what to say of each below it.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/orders.pb.h"

namespace plumblane::client {

// In the order of the answer, then counts by supplier and lane. `late_only`: it was asked for those
// that are late, likely to be, or slow to leave.
std::string ShowUnderway(const v1::ListUnderwayResponse& answer, bool late_only, int width);

// In the order of the answer, then what is owed in each currency. `with_settled`: it was asked for
// settled ones, too.
std::string ShowClaims(const v1::ListClaimsResponse& answer, bool with_settled, int width);

}  // namespace plumblane::client
