#include "scoring/defects.h"

#include <algorithm>
#include <cassert>

#include "scoring/curve.h"

namespace plumblane {
namespace {

struct DefectCounts {
  int64_t order_count = 0;
  int64_t hit_count = 0;
  double hit_weight = 0;               // y
  std::vector<double> weight_reached;  // decayed orders by min(D, window)
  Curve curve;                         // over days 0 .. window
};

DefectCounts CountDefects(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules) {
  assert(rules.claim_window_days >= 0);
  const int window = rules.claim_window_days;
  DefectCounts counts;
  counts.weight_reached.resize(static_cast<size_t>(window) + 1);
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
          counts.hit_weight += weight * static_cast<double>(outcome.count);
          risk.AddEvents(outcome.bucket, outcome.count, weight);
        } else {
          risk.AddCensored(outcome.bucket, outcome.count, weight);
        }
      }
      risk.AddCensored(last_day, unknown, weight);
      counts.order_count += tally.entered;
      counts.weight_reached[last_day] += weight * static_cast<double>(tally.entered);
    });
  }
  counts.curve = risk.Estimate();
  return counts;
}

// n: the decayed orders, each for as much as it has come towards the end of the window.
double ReachedWeight(const DefectCounts& counts, const DelayCurve& delay) {
  const int window = static_cast<int>(counts.weight_reached.size()) - 1;
  double reached = 0;
  for (int day = 0; day <= window; ++day) {
    reached += counts.weight_reached[day] * delay.ReachedBy(day, window);
  }
  return reached;
}

}  // namespace

double DelayCurve::ReachedBy(int days, int window_days) const {
  assert(days >= 0 && (share.empty() || std::ssize(share) == window_days + 1));
  const int day = std::min(days, window_days);
  if (share.empty() || share.back() <= 0) return (day + 1.0) / (window_days + 1.0);
  return share[day] / share.back();
}

DefectPrior PooledDefectPrior(const Series& total, const Moment& moment, const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(total, Scope::kCounted, moment, rules);
  DefectPrior pooled;
  if (counts.order_count == 0) return pooled;
  for (int day = 0; day <= rules.claim_window_days; ++day) {
    pooled.delay.share.push_back(1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(day)));
  }
  const double reached = ReachedWeight(counts, pooled.delay);
  if (reached > 0) {
    pooled.prior = Prior{std::min(1.0, counts.hit_weight / reached), kPooledStrength};
  }
  return pooled;
}

RateEstimate DefectRate(const Series& defect, Scope scope, const std::optional<Prior>& prior,
                        const DelayCurve& delay, const Moment& moment, const ScoreRules& rules) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules);
  RateEstimate rate;
  rate.weight = ReachedWeight(counts, delay);
  rate.order_count = counts.order_count;
  rate.hit_count = counts.hit_count;
  const bool weighs = std::any_of(counts.weight_reached.begin(), counts.weight_reached.end(),
                                  [](double weight) { return weight > 0; });
  if (weighs) {
    rate.observed = 1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(rules.claim_window_days));
  }
  if (!prior) return rate;
  const Beta posterior = PosteriorOf(*prior, counts.hit_weight, rate.weight);
  rate.posterior_a = posterior.a;
  rate.posterior_b = posterior.b;
  if (counts.order_count == 0) return rate;
  const Interval limits = posterior.Limits();
  rate.estimate = posterior.Mean();
  rate.low = limits.low;
  rate.high = limits.high;
  return rate;
}

}  // namespace plumblane
