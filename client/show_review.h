// The account of a period on a screen: what to raise, supplier by supplier.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

std::string ShowReview(const v1::Review& review, int width);

}  // namespace plumblane::client
