// A small review that tests of its forms share.
#pragma once

#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// The fleet, a supplier that became late, a lane of one order, a pair; provisional. Names of the
// supplier, an item and a reason hold markup, and the beginning of a formula.
v1::Review SampleReview();

// Names of SampleReview as they were sent.
inline constexpr char kHostileSupplier[] = "<script>alert(1)</script>\"&'";
inline constexpr char kHostileItem[] = "=HYPERLINK(\"x\")|*a*_b_[c](d)`e`";

}  // namespace plumblane::client
