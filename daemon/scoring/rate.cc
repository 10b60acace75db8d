#include "scoring/rate.h"

#include <algorithm>
#include <cassert>
#include <memory>
#include <span>

#include "scoring/decay.h"

namespace plumblane {
namespace {

constexpr double kLeastShape = 0.05;  // keeps the quantiles of a near-certain prior representable
constexpr double kNoHits = 1e-9;

struct LateSpan final : KeptSpan {
  LateCount count;
  WeightedSums weights;  // relative to the anchor
  size_t bytes() const override { return sizeof *this; }
};

LateSpan SumOf(std::span<const Cohort> cohorts, Scope scope, Day anchor,
               const DayWeights& weights) {
  LateSpan sums;
  sums.span = SpanOf(cohorts.front().day);
  for (const Cohort& cohort : cohorts) {
    const LateCount one = CountLate(cohort.cell, scope);
    sums.count.order_count += one.order_count;
    sums.count.late_count += one.late_count;
    sums.weights.Add(weights.Of(anchor - cohort.day), one.order_count,
                     static_cast<double>(one.late_count));
  }
  return sums;
}

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
  OnTimeCounts counts;
  const auto watched = Watched(on_time, moment);
  if (watched.empty()) return counts;
  const CohortWeights weights(moment, rules);
  const DayWeights day_weights(rules.half_life_days);
  VisitSpans<LateSpan>(
      watched, watched.back().day, Measure::kOnTime, rules.half_life_days, kept,
      [&](std::span<const Cohort> span, Day anchor, bool whole, const LateSpan* known) {
        const LateSpan sums = known ? *known : SumOf(span, scope, anchor, day_weights);
        counts.order_count += sums.count.order_count;
        counts.late_count += sums.count.late_count;
        const double factor = weights.On(anchor);
        counts.weight += factor * sums.weights.w1;
        counts.squares += factor * factor * sums.weights.w2;
        counts.late_weight += factor * sums.weights.s;
        return kept && whole && !known ? std::make_shared<const LateSpan>(sums) : nullptr;
      });
  return counts;
}

double PooledMean(double hits, double orders) { return (hits + 0.5) / (orders + 1); }

std::optional<Prior> PooledLatePrior(const Series& total, const Moment& moment,
                                     const ScoreRules& rules, Scope scope, KeptSpans* kept) {
  const OnTimeCounts counts = CountOnTime(total, scope, moment, rules, kept);
  if (counts.order_count == 0) return std::nullopt;
  return Prior{PooledMean(counts.late_weight, counts.weight), kPooledStrength};
}

RateEstimate OnTimeRate(const Series& on_time, Scope scope, const std::optional<Prior>& late,
                        const Moment& moment, const ScoreRules& rules, KeptSpans* kept) {
  const OnTimeCounts counts = CountOnTime(on_time, scope, moment, rules, kept);
  return ShareFrom(counts, counts.late_weight, counts.weight, late);
}

RateEstimate MeasuredOnTimeRate(const Series& on_time, Scope scope,
                                const std::optional<Prior>& late, const Moment& moment,
                                const ScoreRules& rules, KeptSpans* kept) {
  const OnTimeCounts counts = CountOnTime(on_time, scope, moment, rules, kept);
  const WeightedSums sums = counts.Sums();
  return ShareFrom(counts, sums.EffectiveHits(), sums.EffectiveSize(), late);
}

}  // namespace plumblane
