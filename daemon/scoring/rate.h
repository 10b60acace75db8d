// Rates: the share of orders that came late or turned out defective, observed and estimated.
//
// The observed share is decayed and has no prior. The estimate is the mean of a Beta posterior of
// the late or defect rate p: prior Beta(a, b) with a = mu M, b = (1 - mu) M of mean mu, counting as
// much as M orders, then Beta(a + s, b + n - s) for n orders and s hits among them. A few orders
// therefore move the estimate a little, many move it to what was observed. There are two modes:
//   - current rate, "what is it now": n = W1 and s = S, the decayed sums. This is the filter that
//     is exact when the rate drifts at the pace of the half-life. Scores and ranking show it.
//   - measurement, "how well is the average known": n = W1^2/W2 and s = n S/W1, the effective size
//     of a steady process. Its 95 % limits cover 95 % of steady rates, those of the current mode
//     99 %; under drift they are too short. For reviews and comparisons of what was.
// The modes are never mixed in one table: functions of the second are named Measured.
//
// The prior is pooled over all pairs, with strength 4 (PooledLatePrior), or fitted to the fleet
// (fleet_prior.h).
//
// Sources: J. Q. Smith, "A generalization of the Bayesian steady forecasting model", JRSS B 41
// (1979) 375-387; V. Raj, S. Kalyani, "Taming non-stationary bandits: a Bayesian approach",
// arXiv:1707.09727 (2017).
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <optional>

#include "cohorts/cell.h"
#include "scoring/beta.h"
#include "scoring/decay.h"
#include "scoring/moment.h"
#include "scoring/spans.h"

namespace plumblane {

// What is believed of the rate before any order of one's own, as Beta(mean strength,
// (1 - mean) strength), either parameter at least 0.05.
struct Prior {
  double mean = 0;      // of the late or defect rate, 0 to 1
  double strength = 0;  // in orders, >= 0
  bool operator==(const Prior&) const = default;
};

// The strength of a prior that is pooled over all pairs.
inline constexpr double kPooledStrength = 4;

struct RateEstimate {
  // Decayed share without prior; absent without orders, and when all are too old to weigh anything.
  std::optional<double> observed;
  // Posterior mean and 95 % interval; absent without orders or without prior.
  std::optional<double> estimate, low, high;
  double weight = 0;        // orders behind it (n above)
  int64_t order_count = 0;  // undecayed
  int64_t hit_count = 0;    // late or defective ones among them, undecayed
  // Posterior of the late or defect rate, prior included; the prior itself without orders. Both 0
  // when there is no prior.
  double posterior_a = 0, posterior_b = 0;
  bool operator==(const RateEstimate&) const = default;
};

// The prior's Beta with `hits` of `orders` seen, both decayed. At most 1e-9 hits per order is
// rounding and counts as none; more hits than orders as no miss. REQUIRES: hits, orders >= 0.
Beta PosteriorOf(const Prior& prior, double hits, double orders);

// The same in measurement mode: n = W1^2/W2, s = n S/W1.
Beta MeasuredPosterior(const Prior& prior, const WeightedSums& sums);

// Orders of one tally or cell of Measure::kOnTime whose promised day is over.
struct LateCount {
  int64_t order_count = 0;
  int64_t late_count = 0;  // not delivered by their promise
};
LateCount CountLate(const Tally& tally);
LateCount CountLate(const Cell& cell, Scope scope);

// On-time orders of a measure's series. Read are the cohorts whose promised day is over by the
// horizon: there, whatever was not delivered by its promise is late, known to be delivered later or
// not, so no order waits for an event to become late.
struct OnTimeCounts {
  int64_t order_count = 0;
  int64_t late_count = 0;
  double weight = 0;       // decayed orders, W1
  double late_weight = 0;  // decayed late ones, S
  double squares = 0;      // W2
  // Excused orders of the same cohorts, whether or not the scope counts them.
  int64_t excused_count = 0;
  // What a fleet prior is fitted to, in the scope of the score it is for.
  WeightedSums Sums() const { return {weight, squares, late_weight}; }
  bool operator==(const OnTimeCounts&) const = default;
};
// Answers do not depend on what is kept (spans.h), here and below.
OnTimeCounts CountOnTime(const Series& on_time, Scope scope, const Moment& moment,
                         const ScoreRules& rules, KeptSpans* kept = nullptr);

// The share of a pool with some doubt: (hits + 1/2) / (orders + 1), the mean under Jeffreys' prior,
// so that a pool of a few orders, or of old ones that hardly weigh, is not taken for certain.
double PooledMean(double hits, double orders);

// The prior of the late rate, from `total`, the sum over all pairs; the scope is that of the score
// it is for, so that forgiving orders leaves a lane's score as it was. None when nothing settled.
std::optional<Prior> PooledLatePrior(const Series& total, const Moment& moment,
                                     const ScoreRules& rules, Scope scope = Scope::kCounted,
                                     KeptSpans* kept = nullptr);

// The on-time share: observed = 1 - S/W1, and one minus mean and limits of the late rate; with
// RateMode::kAverage the latter of MeasuredPosterior. Without decay both are the same.
RateEstimate OnTimeRate(const OnTimeCounts& counts, const std::optional<Prior>& late,
                        RateMode mode = RateMode::kCurrent);

}  // namespace plumblane
