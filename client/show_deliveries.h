// Where notices of alerts are sent, as a person reads it.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/alerts.pb.h"

namespace plumblane::client {

// Each sink with its state, how far it has come, and its last few attempts.
std::string ShowDeliveries(const v1::ListDeliveriesResponse& answer, int width);

}  // namespace plumblane::client
