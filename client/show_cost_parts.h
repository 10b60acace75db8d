// The arithmetic of an expected cost, part by part, so that it can be redone by hand.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/agreements.pb.h"
#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// A line for each part, "late orders   0.0820 x 3.50   0.2870", and the sum. What a kind of defect
// costs is not in the answer: its line has only the share unless `settings` hold the class that the
// answer was reckoned with.
std::string CostPartsText(const v1::RankSuppliersResponse& answer, const v1::ExpectedCost& cost,
                          const v1::CostSettings& settings, int width);

}  // namespace plumblane::client
