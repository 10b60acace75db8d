// The cells of a pair within the days of a review, past the series cache: a review reads those of
// all pairs once. Private to engine/.
#pragma once

#include <absl/status/statusor.h>

#include <span>
#include <vector>

#include "review/order_tally.h"
#include "scoring/score.h"
#include "storage/store.h"

namespace plumblane {

// The days of all periods, ascending: one range where they touch, else two.
std::vector<Period> RangesOf(const Periods& periods);

// REQUIRES: `ranges` ascend and do not overlap. Errors: those of the store; DATA_LOSS.
absl::StatusOr<MeasureSet> ReadCells(const Snapshot& snapshot, const Pair& pair,
                                     std::span<const Measure> measures,
                                     std::span<const Period> ranges);

}  // namespace plumblane
