// The cells of a pair within the days of a review, past the series cache: a review reads those of
// all pairs once. Private to engine/.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "review/order_tally.h"
#include "storage/store.h"

namespace plumblane {

// The days of all periods, ascending: one range where they touch, else two.
std::vector<Period> RangesOf(const Periods& periods);

// Calls `visit` with every day of these measures within the ranges: measure by measure, of each its
// days ascending. The cohort is good during the call. REQUIRES: `ranges` ascend and do not overlap.
// Errors: those of the store; DATA_LOSS.
using VisitCohort = std::function<void(Measure measure, const Cohort& cohort)>;
absl::Status ReadCells(const Snapshot& snapshot, const Pair& pair,
                       std::span<const Measure> measures, std::span<const Period> ranges,
                       const VisitCohort& visit);

}  // namespace plumblane
