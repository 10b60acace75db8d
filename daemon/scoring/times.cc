#include "scoring/times.h"

#include <cassert>

#include "cohorts/buckets.h"
#include "scoring/curve.h"
#include "scoring/decay.h"

namespace plumblane {
namespace {

Code FinishOf(Measure measure) {
  switch (measure) {
    case Measure::kHandling:
      return Code::kShipped;
    case Measure::kTransit:
    case Measure::kDelivery:
      return Code::kDelivered;
    default:
      assert(measure == Measure::kResponse);
      return Code::kAnswered;
  }
}

// Adds one tally's orders to those at risk; returns how many are known to have finished.
int64_t AddTally(const Tally& tally, Code finish, int64_t watch, double weight, RiskSet& risk) {
  int64_t finished = 0;
  int64_t unknown = tally.entered;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code != finish && outcome.code != Code::kLeft) continue;
    if (BucketEndMillis(outcome.bucket) > watch) continue;
    unknown -= outcome.count;
    if (outcome.code == finish) {
      finished += outcome.count;
      risk.AddEvents(outcome.bucket, outcome.count, weight);
    } else {
      risk.AddCensored(outcome.bucket, outcome.count, weight);
    }
  }
  const uint32_t buckets = BucketsWithin(watch);
  if (buckets > 0) risk.AddCensored(buckets - 1, unknown, weight);
  return finished;
}

std::optional<TimesEstimate::Quantile> InSeconds(const std::optional<BucketQuantile>& found) {
  if (!found) return std::nullopt;
  TimesEstimate::Quantile quantile{BucketSeconds(found->bucket), {}, {}};
  if (found->low) quantile.low = BucketSeconds(*found->low);
  if (found->high) quantile.high = BucketSeconds(*found->high);
  return quantile;
}

}  // namespace

TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules) {
  TimesEstimate times;
  const auto cohorts = Watched(series, moment);
  if (cohorts.empty()) return times;
  const Code finish = FinishOf(measure);
  const Day newest = cohorts.back().day;
  RiskSet risk(kLastBucket + 1);
  for (const Cohort& cohort : cohorts) {
    // The curve is free of scale: weights relative to the newest cohort do not vanish however long
    // ago that was.
    const double weight = DecayWeight(newest - cohort.day, rules.half_life_days);
    const int64_t watch = WatchMillis(cohort.day, moment);
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      times.entered_count += tally.entered;
      times.finished_count += AddTally(tally, finish, watch, weight, risk);
    });
  }
  const Curve curve = risk.Estimate();
  times.median = InSeconds(curve.QuantileAt(0.5));
  times.p90 = InSeconds(curve.QuantileAt(0.9));
  times.median_reached = times.median.has_value();
  return times;
}

}  // namespace plumblane
