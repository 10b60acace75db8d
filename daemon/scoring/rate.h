// Rates: the share of orders that came late or turned out defective, observed and estimated.
//
// The observed share is decayed and has no prior. The estimate is the mean of a Beta posterior of
// the late or defect rate p: prior Beta(a, b) with a = mu M, b = (1 - mu) M from the share mu among
// all orders of all pairs, counting as much as M orders, then Beta(a + S, b + n - S) for the
// decayed sums n of orders and S of hits. For steady decay this is the filter that is exact when
// the rate drifts at the pace of the half-life. A few orders therefore move the estimate a little,
// many move it to what was observed.
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
#include "scoring/moment.h"

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
  double weight = 0;        // orders behind it, decayed (n above)
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

// On-time orders of a measure's series. Read are the cohorts whose promised day is over by the
// horizon: there, whatever was not delivered by its promise is late, known to be delivered later or
// not, so no order waits for an event to become late.
struct OnTimeCounts {
  int64_t order_count = 0;
  int64_t late_count = 0;
  double weight = 0;       // decayed orders, W1
  double late_weight = 0;  // decayed late ones, S
};
OnTimeCounts CountOnTime(const Series& on_time, Scope scope, const Moment& moment,
                         const ScoreRules& rules);

// The prior of the late rate: S/W1 over `total`, counted orders only. None when nothing settled.
std::optional<Prior> PooledLatePrior(const Series& total, const Moment& moment,
                                     const ScoreRules& rules);

// The on-time share: observed = 1 - S/W1, and one minus mean and limits of the late rate.
RateEstimate OnTimeRate(const Series& on_time, Scope scope, const std::optional<Prior>& late,
                        const Moment& moment, const ScoreRules& rules);

}  // namespace plumblane
