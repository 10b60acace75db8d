// Ways out in the API's words. Private to service/.
#pragma once

#include <plumblane/v1/alerts.pb.h>

#include "delivery/courier.h"

namespace plumblane {

void WriteDelivery(const RouteState& state, v1::Delivery* out);

}  // namespace plumblane
