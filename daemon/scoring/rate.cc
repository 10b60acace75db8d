#include "scoring/rate.h"

#include <algorithm>
#include <cassert>
#include <span>

#include "scoring/decay.h"

namespace plumblane {
namespace {

constexpr double kLeastShape = 0.05;  // keeps the quantiles of a near-certain prior representable
constexpr double kNoHits = 1e-9;

struct LateSums final : KeptSums {
  LateCount count;
  int64_t excused_count = 0;
  WeightedSums weights;
  size_t bytes() const override { return sizeof *this; }
};

// See AddUp (spans.h).
class LateSum {
 public:
  using Sums = LateSums;

  LateSum(Scope scope, double half_life_days) : scope_(scope), weights_(half_life_days) {}

  // Whether an order was late is known as soon as its cohort is read.
  bool MayHold(Day) const { return true; }
  bool Holds(const LateSums&) const { return true; }
  void Count(std::span<const Cohort> cohorts, Day anchor) { Add(Make(cohorts, anchor)); }
  LateSums Make(std::span<const Cohort> cohorts, Day anchor) const {
    LateSums sums;
    for (const Cohort& cohort : cohorts) {
      const LateCount one = CountLate(cohort.cell, scope_);
      sums.count.order_count += one.order_count;
      sums.count.late_count += one.late_count;
      sums.excused_count += cohort.cell.excused.entered;
      sums.weights.Add(weights_.Of(anchor - cohort.day), one.order_count,
                       static_cast<double>(one.late_count));
    }
    return sums;
  }
  void Add(const LateSums& sums) {
    total_.count.order_count += sums.count.order_count;
    total_.count.late_count += sums.count.late_count;
    total_.excused_count += sums.excused_count;
    total_.weights.w1 += sums.weights.w1;
    total_.weights.w2 += sums.weights.w2;
    total_.weights.s += sums.weights.s;
  }
  void Decay(int32_t days) { total_.weights.Scale(weights_.Of(days)); }
  const LateSums& Total() const { return total_; }

 private:
  const Scope scope_;
  const DayWeights weights_;
  LateSums total_;
};

// The on-time share from `orders` of which `late` came late, both on the mode's own scale.
RateEstimate ShareFrom(const OnTimeCounts& counts, double late, double orders,
                       const std::optional<Prior>& prior) {
  RateEstimate rate;
  rate.weight = orders;
  rate.order_count = counts.order_count;
  rate.hit_count = counts.late_count;
  if (counts.weight > 0) rate.observed = 1 - counts.late_weight / counts.weight;
  if (!prior) return rate;
  const Beta posterior = PosteriorOf(*prior, late, orders);
  rate.posterior_a = posterior.a;
  rate.posterior_b = posterior.b;
  if (counts.order_count == 0) return rate;
  const Interval limits = posterior.Limits();
  rate.estimate = 1 - posterior.Mean();
  rate.low = 1 - limits.high;
  rate.high = 1 - limits.low;
  return rate;
}

}  // namespace

Beta PosteriorOf(const Prior& prior, double hits, double orders) {
  assert(hits >= 0 && orders >= 0);
  if (hits <= kNoHits * orders) hits = 0;
  return {std::max(kLeastShape, prior.mean * prior.strength) + hits,
          std::max(kLeastShape, (1 - prior.mean) * prior.strength) + std::max(0.0, orders - hits)};
}

Beta MeasuredPosterior(const Prior& prior, const WeightedSums& sums) {
  return PosteriorOf(prior, sums.EffectiveHits(), sums.EffectiveSize());
}

LateCount CountLate(const Tally& tally) {
  int64_t late = tally.entered;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code == Code::kDelivered) late -= outcome.count;
  }
  assert(late >= 0);  // more outcomes than entries: a bug, not a figure
  return {tally.entered, late};
}

LateCount CountLate(const Cell& cell, Scope scope) {
  LateCount count;
  VisitTallies(cell, scope, [&](const Tally& tally) {
    const LateCount one = CountLate(tally);
    count.order_count += one.order_count;
    count.late_count += one.late_count;
  });
  return count;
}

OnTimeCounts CountOnTime(const Series& on_time, Scope scope, const Moment& moment,
                         const ScoreRules& rules, KeptSpans* kept) {
  assert(!kept || scope == Scope::kCounted);
  OnTimeCounts counts;
  const auto watched = Watched(on_time, moment);
  if (watched.empty()) return counts;
  const Day newest = watched.back().day;
  LateSum sum(scope, rules.half_life_days);
  AddUp(watched, newest, Measure::kOnTime, {.half_life_days = rules.half_life_days}, kept, sum);
  LateSums total = sum.Total();
  total.weights.Scale(CohortWeights(moment, rules).On(newest));
  counts.order_count = total.count.order_count;
  counts.late_count = total.count.late_count;
  counts.weight = total.weights.w1;
  counts.squares = total.weights.w2;
  counts.late_weight = total.weights.s;
  counts.excused_count = total.excused_count;
  return counts;
}

double PooledMean(double hits, double orders) { return (hits + 0.5) / (orders + 1); }

std::optional<Prior> PooledLatePrior(const Series& total, const Moment& moment,
                                     const ScoreRules& rules, Scope scope, KeptSpans* kept) {
  const OnTimeCounts counts = CountOnTime(total, scope, moment, rules, kept);
  if (counts.order_count == 0) return std::nullopt;
  return Prior{PooledMean(counts.late_weight, counts.weight), kPooledStrength};
}

RateEstimate OnTimeRate(const OnTimeCounts& counts, const std::optional<Prior>& late,
                        RateMode mode) {
  if (mode == RateMode::kCurrent) return ShareFrom(counts, counts.late_weight, counts.weight, late);
  const WeightedSums sums = counts.Sums();
  return ShareFrom(counts, sums.EffectiveHits(), sums.EffectiveSize(), late);
}

}  // namespace plumblane
