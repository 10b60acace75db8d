// Whether a supplier keeps the targets it agreed to, as far as its orders tell.
//
// Pure and thread-safe.
#pragma once

#include <vector>

#include "agreements/terms.h"
#include "cohorts/measure.h"
#include "scoring/score.h"

namespace plumblane {

enum class Standing { kMet, kMissed, kMetNotSure, kMissedNotSure, kTooFew };

struct TargetReading {
  Measure measure = Measure::kOnTime;
  double target = 0;  // a share, or days for nine orders in ten
  Standing standing = Standing::kTooFew;
  bool operator==(const TargetReading&) const = default;
};

// One for each target that was agreed. Sure is what the whole 95 % interval says; too few are fewer
// than kFewestAtRisk orders, or a 90th percentile that is not told. A 90th percentile that is not
// reached while orders were followed longer than the target is missed, not surely.
std::vector<TargetReading> ReadTargets(const Targets& targets, const ScoreEstimate& score);

}  // namespace plumblane
