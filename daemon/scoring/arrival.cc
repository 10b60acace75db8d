#include "scoring/arrival.h"

#include <cassert>
#include <cmath>

#include "cohorts/buckets.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;

std::optional<ArrivalEstimate> ReadAt(double days, const TimesCurve& times,
                                      const ScoreRules& rules) {
  assert(days >= 0 && days <= kLongestDays);
  if (!times.longest_watch_millis) return std::nullopt;
  const auto millis = static_cast<int64_t>(std::floor(days * static_cast<double>(kMillisPerDay)));
  const Curve& curve = times.curve;
  const bool all_arrived = !curve.steps.empty() && curve.steps.back().survival == 0;
  if (*times.longest_watch_millis < millis && !all_arrived) return std::nullopt;
  ArrivalEstimate estimate;
  if (const uint32_t buckets = BucketsWithin(millis); buckets > 0) {
    estimate.share = 1 - curve.SurvivalAfter(buckets - 1);
    estimate.posterior = curve.ShareBy(buckets - 1);
    const std::optional<Beta>& known = estimate.posterior;
    if (known && known->a + known->b >= rules.fewest_at_risk * (1 - 1e-9)) {
      estimate.limits = known->Limits();
    }
  }
  estimate.late_days =
      curve.AreaBetween(days * kSecondsPerDay, kLongestDays * kSecondsPerDay, BucketSeconds) /
      kSecondsPerDay;
  return estimate;
}

}  // namespace

std::vector<Arrival> ArrivalsWithin(std::span<const double> days, const Series& delivery,
                                    Scope scope, const Moment& moment, const ScoreRules& rules,
                                    KeptSpans* kept) {
  std::vector<Arrival> arrivals;
  if (days.empty()) return arrivals;
  const TimesCurve times = TimesCurveOf(Measure::kDelivery, delivery, scope, moment, rules, kept);
  for (const double day : days) arrivals.push_back({day, ReadAt(day, times, rules)});
  return arrivals;
}

}  // namespace plumblane
