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

std::optional<TimesEstimate::Quantile> InSeconds(const std::optional<BucketQuantile>& found,
                                                 double fewest_at_risk, bool& too_few) {
  too_few = found && found->at_risk < fewest_at_risk * (1 - 1e-12);
  if (!found || too_few) return std::nullopt;
  TimesEstimate::Quantile quantile{BucketSeconds(found->bucket), {}, {}};
  if (found->low) quantile.low = BucketSeconds(*found->low);
  if (found->high) quantile.high = BucketSeconds(*found->high);
  return quantile;
}

struct Timed {
  Curve curve;
  int64_t entered_count = 0, finished_count = 0;
};

Timed CurveOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
              const ScoreRules& rules) {
  Timed times;
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
  times.curve = risk.Estimate();
  return times;
}

}  // namespace

Curve TimesCurve(Measure measure, const Series& series, Scope scope, const Moment& moment,
                 const ScoreRules& rules) {
  return CurveOf(measure, series, scope, moment, rules).curve;
}

TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules) {
  const Timed timed = CurveOf(measure, series, scope, moment, rules);
  TimesEstimate times;
  times.entered_count = timed.entered_count;
  times.finished_count = timed.finished_count;
  const auto median = timed.curve.QuantileAt(0.5);
  times.median_reached = median.has_value();
  times.median = InSeconds(median, rules.fewest_at_risk, times.median_too_few);
  times.p90 = InSeconds(timed.curve.QuantileAt(0.9), rules.fewest_at_risk, times.p90_too_few);
  return times;
}

}  // namespace plumblane
