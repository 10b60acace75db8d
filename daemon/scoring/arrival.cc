#include "scoring/arrival.h"

#include <cassert>
#include <cmath>

#include "cohorts/buckets.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;

// The longest watch of any order of the scope; none without orders.
std::optional<int64_t> LongestWatch(const Series& series, Scope scope, const Moment& moment) {
  for (const Cohort& cohort : Watched(series, moment)) {
    int64_t entered = 0;
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) { entered += tally.entered; });
    if (entered > 0) return WatchMillis(cohort.day, moment);
  }
  return std::nullopt;
}

}  // namespace

std::optional<ArrivalEstimate> ArrivalWithin(double days, const Series& delivery, Scope scope,
                                             const Moment& moment, const ScoreRules& rules) {
  assert(days >= 0 && days <= kLongestDays);
  const auto watch = LongestWatch(delivery, scope, moment);
  if (!watch) return std::nullopt;
  const auto millis = static_cast<int64_t>(std::floor(days * static_cast<double>(kMillisPerDay)));
  const Curve curve = TimesCurve(Measure::kDelivery, delivery, scope, moment, rules);
  const bool all_arrived = !curve.steps.empty() && curve.steps.back().survival == 0;
  if (*watch < millis && !all_arrived) return std::nullopt;
  ArrivalEstimate estimate;
  if (const uint32_t buckets = BucketsWithin(millis); buckets > 0) {
    estimate.share = 1 - curve.SurvivalAfter(buckets - 1);
    estimate.posterior = curve.ShareBy(buckets - 1);
  }
  estimate.late_days =
      curve.AreaBetween(days * kSecondsPerDay, kLongestDays * kSecondsPerDay, BucketSeconds) /
      kSecondsPerDay;
  return estimate;
}

}  // namespace plumblane
