#include "scoring/times.h"

#include <algorithm>
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

// Adds one tally's orders, and those of them at risk to `risk`. Known are outcomes in the first so
// many buckets: those whose end lies within the watch.
void AddTally(const Tally& tally, Code finish, int64_t watch, uint32_t buckets, double weight,
              TimesCurve& times, RiskSet& risk) {
  const auto followed = [&](int64_t millis) {
    times.longest_watch_millis = std::max(millis, times.longest_watch_millis.value_or(0));
  };
  times.entered_count += tally.entered;
  int64_t unknown = tally.entered;
  std::optional<uint32_t> longest;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code != finish && outcome.code != Code::kLeft) continue;
    if (outcome.bucket >= buckets) continue;
    unknown -= outcome.count;
    longest = std::max(outcome.bucket, longest.value_or(0));
    if (outcome.code == finish) {
      times.finished_count += outcome.count;
      risk.AddEvents(outcome.bucket, outcome.count, weight);
    } else {
      risk.AddCensored(outcome.bucket, outcome.count, weight);
    }
  }
  assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
  if (longest) followed(BucketEndMillis(*longest));
  if (unknown > 0) followed(watch);
  if (buckets > 0) risk.AddCensored(buckets - 1, unknown, weight);
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

}  // namespace

TimesCurve TimesCurveOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                        const ScoreRules& rules) {
  TimesCurve times;
  const auto cohorts = Watched(series, moment);
  if (cohorts.empty()) return times;
  const Code finish = FinishOf(measure);
  const Day newest = cohorts.back().day;
  RiskSet risk(kLastBucket + 1);
  const DayWeights weights(rules.half_life_days);
  uint32_t buckets = kLastBucket + 1;
  for (const Cohort& cohort : cohorts) {
    // The curve is free of scale: weights relative to the newest cohort do not vanish however long
    // ago that was.
    const double weight = weights.Of(newest - cohort.day);
    const int64_t watch = WatchMillis(cohort.day, moment);
    buckets = BucketsWithin(watch, buckets);
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      AddTally(tally, finish, watch, buckets, weight, times, risk);
    });
  }
  times.curve = risk.Estimate();
  return times;
}

TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules) {
  const TimesCurve timed = TimesCurveOf(measure, series, scope, moment, rules);
  TimesEstimate times;
  times.entered_count = timed.entered_count;
  times.finished_count = timed.finished_count;
  if (timed.longest_watch_millis) {
    times.longest_watch = static_cast<double>(*timed.longest_watch_millis) / kMillisPerSecond;
  }
  const auto median = timed.curve.QuantileAt(0.5);
  times.median_reached = median.has_value();
  times.median = InSeconds(median, rules.fewest_at_risk, times.median_too_few);
  times.p90 = InSeconds(timed.curve.QuantileAt(0.9), rules.fewest_at_risk, times.p90_too_few);
  return times;
}

}  // namespace plumblane
