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
  int64_t order_count = 0;
  int64_t hit_count = 0;
  double hit_weight = 0;               // y
  std::vector<double> weight_reached;  // decayed orders by min(D, window): sums of w
  std::vector<double> square_reached;  // and of w^2
  std::vector<std::array<double, DefectKinds::kCount>> kinds;  // decayed defects by day and kind
  Curve curve;                                                 // over days 0 .. window
};

DefectCounts CountDefects(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules) {
  assert(rules.claim_window_days >= 0);
  const int window = rules.claim_window_days;
  DefectCounts counts;
  counts.weight_reached.resize(static_cast<size_t>(window) + 1);
  counts.square_reached.resize(counts.weight_reached.size());
  counts.kinds.resize(counts.weight_reached.size());
  RiskSet risk(counts.weight_reached.size());
  for (const Cohort& cohort : Watched(defect, moment)) {
    const int64_t days_over = WatchMillis(cohort.day, moment) / kMillisPerDay;
    const auto last_day = static_cast<uint32_t>(std::min<int64_t>(days_over, window));
    const double weight = WeightOn(cohort.day, moment, rules);
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      int64_t unknown = tally.entered;
      for (const Outcome& outcome : tally.outcomes) {
        const bool hit = IsDefect(outcome.code);
        if ((!hit && outcome.code != Code::kLeft) || outcome.bucket > last_day) continue;
        unknown -= outcome.count;
        if (hit) {
          counts.hit_count += outcome.count;
          const double hits = weight * static_cast<double>(outcome.count);
          counts.hit_weight += hits;
          counts.kinds[outcome.bucket][KindIndex(outcome.code)] += hits;
          risk.AddEvents(outcome.bucket, outcome.count, weight);
        } else {
          risk.AddCensored(outcome.bucket, outcome.count, weight);
        }
      }
      assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
      risk.AddCensored(last_day, unknown, weight);
      counts.order_count += tally.entered;
      const double entered = weight * static_cast<double>(tally.entered);
      counts.weight_reached[last_day] += entered;
      counts.square_reached[last_day] += weight * entered;
    });
  }
  counts.curve = risk.Estimate();
  return counts;
}

// n, its squares and y: the decayed orders, each for as much as it has come towards the end of the
// window.
WeightedSums SumsOf(const DefectCounts& counts, const DelayCurve& delay) {
  const int window = static_cast<int>(counts.weight_reached.size()) - 1;
  WeightedSums sums;
  for (int day = 0; day <= window; ++day) {
    const double reached = delay.ReachedBy(day, window);
    sums.w1 += counts.weight_reached[day] * reached;
    sums.w2 += counts.square_reached[day] * reached;
  }
  sums.s = counts.hit_weight;
  return sums;
}

bool AnyWeight(const DefectCounts& counts) {
  return std::any_of(counts.weight_reached.begin(), counts.weight_reached.end(),
                     [](double weight) { return weight > 0; });
}

// The defect share from `orders` with `hits`, both on the mode's own scale.
RateEstimate ShareFrom(const DefectCounts& counts, double hits, double orders,
                       const std::optional<Prior>& prior) {
  RateEstimate rate;
  rate.weight = orders;
  rate.order_count = counts.order_count;
  rate.hit_count = counts.hit_count;
  if (AnyWeight(counts))
    rate.observed =
        1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(counts.weight_reached.size() - 1));
  if (!prior) return rate;
  const Beta posterior = PosteriorOf(*prior, hits, orders);
  rate.posterior_a = posterior.a;
  rate.posterior_b = posterior.b;
  if (counts.order_count == 0) return rate;
  const Interval limits = posterior.Limits();
  rate.estimate = posterior.Mean();
  rate.low = limits.low;
  rate.high = limits.high;
  return rate;
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
  if (counts.order_count == 0) return pooled;
  for (int day = 0; day <= rules.claim_window_days; ++day) {
    pooled.delay.share.push_back(1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(day)));
  }
  const WeightedSums sums = SumsOf(counts, pooled.delay);
  pooled.prior = Prior{std::min(1.0, PooledMean(sums.s, sums.w1)), kPooledStrength};
  return pooled;
}

RateEstimate DefectRate(const Series& defect, Scope scope, const std::optional<Prior>& prior,
                        const DelayCurve& delay, const Moment& moment, const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules);
  return ShareFrom(counts, counts.hit_weight, SumsOf(counts, delay).w1, prior);
}

RateEstimate MeasuredDefectRate(const Series& defect, Scope scope,
                                const std::optional<Prior>& prior, const DelayCurve& delay,
                                const Moment& moment, const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules);
  const WeightedSums sums = SumsOf(counts, delay);
  return ShareFrom(counts, sums.EffectiveHits(), sums.EffectiveSize(), prior);
}

WeightedSums DefectSums(const Series& defect, const DelayCurve& delay, const Moment& moment,
                        const ScoreRules& rules, Scope scope) {
  return SumsOf(CountDefects(defect, scope, moment, rules), delay);
}

double DefectKinds::Of(Code kind) const { return share[KindIndex(kind)]; }

std::optional<DefectKinds> DefectKindsOf(const Series& defect, Scope scope, const Moment& moment,
                                         const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules);
  if (!AnyWeight(counts)) return std::nullopt;
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

}  // namespace plumblane
