#include "scoring/defects.h"

#include <algorithm>
#include <cassert>
#include <numeric>

#include "scoring/curve.h"

namespace plumblane {
namespace {

size_t KindIndex(Code kind) {
  assert(IsDefect(kind));
  return static_cast<size_t>(kind) - static_cast<size_t>(Code::kDamaged);
}

struct DefectCounts {
  DefectExposure exposure;
  std::vector<std::array<double, DefectKinds::kCount>> kinds;  // decayed defects by day and kind
  Curve curve;                                                 // over days 0 .. window
};

// Calls for the orders of each cohort: on_hits(day, kind, count, weight), on_left(day, count,
// weight), on_unknown(last day known, count, weight). Returns the exposure.
template <typename OnHits, typename OnLeft, typename OnUnknown>
DefectExposure Walk(const Series& defect, Scope scope, const Moment& moment,
                    const ScoreRules& rules, const OnHits& on_hits, const OnLeft& on_left,
                    const OnUnknown& on_unknown) {
  assert(rules.claim_window_days >= 0);
  DefectExposure exposure;
  exposure.window_days = rules.claim_window_days;
  // Later cohorts have come less far: days descend along the series.
  std::vector<DefectExposure::Reached>& reached = exposure.reached;
  DefectExposure::Reached youngest{-1};
  const auto close = [&] {
    if (youngest.weight > 0) reached.push_back(youngest);
  };
  const CohortWeights weights(moment, rules);
  for (const Cohort& cohort : Watched(defect, moment)) {
    const int64_t days_over = WatchMillis(cohort.day, moment) / kMillisPerDay;
    const auto last_day =
        static_cast<uint32_t>(std::min<int64_t>(days_over, rules.claim_window_days));
    const double weight = weights.On(cohort.day);
    if (youngest.day != static_cast<int>(last_day)) {
      close();
      youngest = {static_cast<int>(last_day)};
    }
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      int64_t unknown = tally.entered;
      for (const Outcome& outcome : tally.outcomes) {
        const bool hit = IsDefect(outcome.code);
        if ((!hit && outcome.code != Code::kLeft) || outcome.bucket > last_day) continue;
        unknown -= outcome.count;
        if (hit) {
          exposure.hit_count += outcome.count;
          exposure.hit_weight += weight * static_cast<double>(outcome.count);
          on_hits(outcome.bucket, outcome.code, outcome.count, weight);
        } else {
          on_left(outcome.bucket, outcome.count, weight);
        }
      }
      assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
      on_unknown(last_day, unknown, weight);
      exposure.order_count += tally.entered;
      const double entered = weight * static_cast<double>(tally.entered);
      youngest.weight += entered;
      youngest.squares += weight * entered;
    });
  }
  close();
  std::reverse(reached.begin(), reached.end());
  return exposure;
}

DefectCounts CountDefects(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules) {
  DefectCounts counts;
  counts.kinds.resize(static_cast<size_t>(rules.claim_window_days) + 1);
  RiskSet risk(counts.kinds.size());
  counts.exposure = Walk(
      defect, scope, moment, rules,
      [&](uint32_t day, Code kind, int64_t count, double weight) {
        counts.kinds[day][KindIndex(kind)] += weight * static_cast<double>(count);
        risk.AddEvents(day, count, weight);
      },
      [&](uint32_t day, int64_t count, double weight) { risk.AddCensored(day, count, weight); },
      [&](uint32_t day, int64_t count, double weight) { risk.AddCensored(day, count, weight); });
  counts.curve = risk.Estimate();
  return counts;
}

// The defect share from `orders` with `hits`, both on the mode's own scale.
RateEstimate ShareFrom(const DefectCounts& counts, double hits, double orders,
                       const std::optional<Prior>& prior) {
  RateEstimate rate;
  rate.weight = orders;
  rate.order_count = counts.exposure.order_count;
  rate.hit_count = counts.exposure.hit_count;
  if (!counts.exposure.reached.empty())
    rate.observed =
        1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(counts.exposure.window_days));
  if (!prior) return rate;
  const Beta posterior = PosteriorOf(*prior, hits, orders);
  rate.posterior_a = posterior.a;
  rate.posterior_b = posterior.b;
  if (counts.exposure.order_count == 0) return rate;
  const Interval limits = posterior.Limits();
  rate.estimate = posterior.Mean();
  rate.low = limits.low;
  rate.high = limits.high;
  return rate;
}

std::optional<DefectKinds> KindsOf(const DefectCounts& counts) {
  if (counts.exposure.reached.empty()) return std::nullopt;
  DefectKinds kinds;
  double before = 1;
  for (const CurveStep& step : counts.curve.steps) {
    const auto& hits = counts.kinds[step.bucket];
    const double all = std::accumulate(hits.begin(), hits.end(), 0.0);
    for (size_t kind = 0; kind < DefectKinds::kCount; ++kind) {
      kinds.share[kind] += (before - step.survival) * (hits[kind] / all);
    }
    before = step.survival;
  }
  return kinds;
}

}  // namespace

double DelayCurve::ReachedBy(int days, int window_days) const {
  assert(days >= 0 && (share.empty() || std::ssize(share) == window_days + 1));
  const int day = std::min(days, window_days);
  if (share.empty() || share.back() <= 0) return (day + 1.0) / (window_days + 1.0);
  return share[day] / share.back();
}

DefectPrior PooledDefectPrior(const Series& total, const Moment& moment, const ScoreRules& rules,
                              Scope scope) {
  const DefectCounts counts = CountDefects(total, scope, moment, rules);
  DefectPrior pooled;
  if (counts.exposure.order_count == 0) return pooled;
  for (int day = 0; day <= rules.claim_window_days; ++day) {
    pooled.delay.share.push_back(1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(day)));
  }
  const WeightedSums sums = DefectSums(counts.exposure, pooled.delay);
  pooled.prior = Prior{std::min(1.0, PooledMean(sums.s, sums.w1)), kPooledStrength};
  return pooled;
}

DefectExposure ExposureOf(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules) {
  const auto ignore = [](auto...) {};
  return Walk(defect, scope, moment, rules, ignore, ignore, ignore);
}

WeightedSums DefectSums(const DefectExposure& exposure, const DelayCurve& delay) {
  WeightedSums sums;
  for (const DefectExposure::Reached& one : exposure.reached) {
    const double shown = delay.ReachedBy(one.day, exposure.window_days);
    sums.w1 += one.weight * shown;
    sums.w2 += one.squares * shown;
  }
  sums.s = exposure.hit_weight;
  return sums;
}

double DefectKinds::Of(Code kind) const { return share[KindIndex(kind)]; }

DefectEstimate DefectsOf(const Series& defect, Scope scope, const std::optional<Prior>& prior,
                         const DelayCurve& delay, const Moment& moment, const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules);
  const WeightedSums sums = DefectSums(counts.exposure, delay);
  const bool average = rules.rate_mode == RateMode::kAverage;
  const RateEstimate rate =
      average ? ShareFrom(counts, sums.EffectiveHits(), sums.EffectiveSize(), prior)
              : ShareFrom(counts, sums.s, sums.w1, prior);
  return {rate, KindsOf(counts)};
}

}  // namespace plumblane
