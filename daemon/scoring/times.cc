#include "scoring/times.h"

#include <algorithm>
#include <cassert>
#include <utility>

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

// Adds one tally's orders to the counts, and those of them at risk by finished(bucket, count) and
// censored(bucket, count). Known are outcomes in the first so many buckets: those whose end lies
// within the watch.
template <typename Finished, typename Censored>
void AddTally(const Tally& tally, Code finish, int64_t watch, uint32_t buckets, TimesCurve& times,
              const Finished& finished, const Censored& censored) {
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
      finished(outcome.bucket, outcome.count);
    } else {
      censored(outcome.bucket, outcome.count);
    }
  }
  assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
  if (longest) followed(BucketEndMillis(*longest));
  if (unknown > 0) followed(watch);
  if (buckets > 0) censored(buckets - 1, unknown);
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

TimesEstimate EstimateOf(const TimesCurve& timed, double fewest_at_risk) {
  TimesEstimate times;
  times.entered_count = timed.entered_count;
  times.finished_count = timed.finished_count;
  if (timed.longest_watch_millis) {
    times.longest_watch = static_cast<double>(*timed.longest_watch_millis) / kMillisPerSecond;
  }
  const auto median = timed.curve.QuantileAt(0.5);
  times.median_reached = median.has_value();
  times.median = InSeconds(median, fewest_at_risk, times.median_too_few);
  times.p90 = InSeconds(timed.curve.QuantileAt(0.9), fewest_at_risk, times.p90_too_few);
  return times;
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
      AddTally(
          tally, finish, watch, buckets, times,
          [&](uint32_t bucket, int64_t count) { risk.AddEvents(bucket, count, weight); },
          [&](uint32_t bucket, int64_t count) { risk.AddCensored(bucket, count, weight); });
    });
  }
  times.curve = risk.Estimate();
  return times;
}

TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules) {
  return EstimateOf(TimesCurveOf(measure, series, scope, moment, rules), rules.fewest_at_risk);
}

void TimesCount::AddAt(const Leavers& leavers) {
  const auto at = std::partition_point(leavers_.begin(), leavers_.end(), [&](const Leavers& one) {
    return one.bucket < leavers.bucket;
  });
  if (at == leavers_.end() || at->bucket != leavers.bucket) {
    leavers_.insert(at, leavers);
    return;
  }
  at->finished += leavers.finished;
  at->censored += leavers.censored;
}

void TimesCount::Add(Measure measure, const Tally& tally, int64_t watch_millis) {
  assert(watch_millis >= 0);
  if (tally.empty()) return;
  TimesCurve sums;
  AddTally(
      tally, FinishOf(measure), watch_millis, BucketsWithin(watch_millis), sums,
      [&](uint32_t bucket, int64_t count) {
        AddAt({bucket, static_cast<int32_t>(count), 0});
      },
      [&](uint32_t bucket, int64_t count) {
        if (count > 0) AddAt({bucket, 0, static_cast<int32_t>(count)});
      });
  entered_count_ += sums.entered_count;
  finished_count_ += sums.finished_count;
  if (sums.longest_watch_millis) {
    longest_watch_millis_ = std::max(*sums.longest_watch_millis, longest_watch_millis_.value_or(0));
  }
}

void TimesCount::Add(const TimesCount& other) {
  if (leavers_.empty()) {
    leavers_ = other.leavers_;
  } else {
    std::vector<Leavers> sums;
    sums.reserve(leavers_.size() + other.leavers_.size());
    auto own = leavers_.begin();
    for (const Leavers& one : other.leavers_) {
      while (own != leavers_.end() && own->bucket < one.bucket) sums.push_back(*own++);
      sums.push_back(one);
      if (own == leavers_.end() || own->bucket != one.bucket) continue;
      sums.back().finished += own->finished;
      sums.back().censored += own->censored;
      ++own;
    }
    sums.insert(sums.end(), own, leavers_.end());
    leavers_ = std::move(sums);
  }
  entered_count_ += other.entered_count_;
  finished_count_ += other.finished_count_;
  if (other.longest_watch_millis_) {
    longest_watch_millis_ =
        std::max(*other.longest_watch_millis_, longest_watch_millis_.value_or(0));
  }
}

TimesCurve TimesCount::Curve() const {
  RiskSet risk(kLastBucket + 1);
  for (const Leavers& one : leavers_) {
    risk.AddEvents(one.bucket, one.finished, 1);
    risk.AddCensored(one.bucket, one.censored, 1);
  }
  return {risk.Estimate(), entered_count_, finished_count_, longest_watch_millis_};
}

TimesEstimate TimesCount::Estimate(double fewest_at_risk) const {
  return EstimateOf(Curve(), fewest_at_risk);
}

}  // namespace plumblane
