#include "scoring/times.h"

#include <algorithm>
#include <cassert>
#include <memory>
#include <utility>

#include "cohorts/buckets.h"
#include "scoring/times_sum.h"

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

void FollowFor(int64_t millis, std::optional<int64_t>& longest) {
  longest = std::max(millis, longest.value_or(0));
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
                        const ScoreRules& rules, KeptSpans* kept) {
  assert(!kept || scope == Scope::kCounted);
  const auto cohorts = Watched(series, moment);
  if (cohorts.empty()) return {};
  const Day newest = cohorts.back().day;
  TimesSum sum(FinishOf(measure), scope, moment, rules.half_life_days);
  AddUp(cohorts, newest, measure, {.half_life_days = rules.half_life_days}, kept, sum);
  return sum.CurveOn(newest);
}

TimesCurve TimesCurveOf(Measure measure, std::span<const std::shared_ptr<const Series>> parts,
                        Scope scope, const Moment& moment, const ScoreRules& rules) {
  std::optional<Day> newest;
  for (const auto& part : parts) {
    const auto cohorts = Watched(*part, moment);
    if (!cohorts.empty()) newest = std::max(cohorts.back().day, newest.value_or(Day{}));
  }
  if (!newest) return {};
  TimesSum total(FinishOf(measure), scope, moment, rules.half_life_days);
  for (const auto& part : parts) {
    TimesSum sum(FinishOf(measure), scope, moment, rules.half_life_days);
    AddUp(Watched(*part, moment), *newest, measure, {}, nullptr, sum);
    sum.MoveInto(total);
  }
  return total.CurveOn(*newest);
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

TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules, KeptSpans* kept) {
  return EstimateOf(TimesCurveOf(measure, series, scope, moment, rules, kept),
                    rules.fewest_at_risk);
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
  const uint32_t buckets = BucketsWithin(watch_millis);
  const NotVisited rest =
      VisitKnown(tally, FinishOf(measure), buckets, [&](const Outcome& outcome) {
        const auto count = static_cast<int32_t>(outcome.count);
        FollowFor(BucketEndMillis(outcome.bucket), longest_watch_millis_);
        if (outcome.code == Code::kLeft) {
          AddAt({outcome.bucket, 0, count});
        } else {
          finished_count_ += count;
          AddAt({outcome.bucket, count, 0});
        }
      });
  entered_count_ += tally.entered;
  if (rest.orders == 0) return;
  FollowFor(watch_millis, longest_watch_millis_);
  if (buckets > 0) AddAt({buckets - 1, 0, static_cast<int32_t>(rest.orders)});
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
  if (other.longest_watch_millis_) FollowFor(*other.longest_watch_millis_, longest_watch_millis_);
}

TimesCurve TimesCount::Curve() const {
  RiskSet risk(kLastBucket + 1);
  for (const Leavers& one : leavers_) {
    risk.AddEvents(one.bucket, one.finished, 1);
    risk.AddCensored(one.bucket, one.censored, 1);
  }
  return {
      risk.Estimate(),      entered_count_, finished_count_, static_cast<double>(entered_count_), 0,
      longest_watch_millis_};
}

TimesEstimate TimesCount::Estimate(double fewest_at_risk) const {
  return EstimateOf(Curve(), fewest_at_risk);
}

}  // namespace plumblane
