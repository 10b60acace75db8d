// Backtest: which way of forecasting late orders would have done best on one's own history.
//
// History is gone through day by day. The orders of a pair that were due on day d are forecast with
// what had settled when they were placed, at 00:00 of day d - days_ahead: the cohorts that end no
// later than `settle_delay` before that moment. With a delay of 24 h these are the days up to
// d - days_ahead - 2. Each order is forecast once by every way, from the same knowledge:
//   half-life        Posterior mean of the late rate in current mode (rate.h): W1 and S by weights
//                    2^(-(d - days_ahead - day)/H), under the prior that is fitted to the fleet
//                    (fleet_prior.h) with the same weights. What scores do.
//   lifetime         The same with all weights 1. The others are compared with it.
//   last 30 days     Weights 1 over the last 30 settled days, and 0 before.
//   ... alone        Both of these without that prior: (late + m)/(orders + 1), one order's worth
//                    of the average m of all.
//   all pairs        m itself: the mean of all orders settled so far (PooledMean), undecayed.
// A prior is fitted anew in each block of kBlockDays days, from what is known for the first of them
// that is forecast; sums are those of each day. Where a fleet prior has nothing that weighs, the
// pooled mean under the same weights stands in, with kPooledStrength.
//
// Read are counted orders (no excused ones) of the cohorts that are settled at the moment asked
// (Watched); an order is late when it was not delivered by its promise. The first `first_days` days
// from the first cohort on are learnt from and not forecast, nor are days before which nothing had
// settled. What is known today about a past day is taken for what was known then: corrections and
// news that came later than `settle_delay` are in it.
//
// Losses, their held-in probabilities and the error of a difference: accuracy.h. The best of many
// ways looks a little better than it is; a lead below two standard errors is no reason to change.
//
// Pure and thread-safe. The same set of histories gives the same bits, whatever their order. Sums
// run along: a day costs O(pairs with orders x ways), and each block one fit of a prior a way,
// which is most of it: some two seconds for 8 half-lives and 3,000 pairs of 90 days or 300 pairs of
// 400 days (tests/bench/backtest_bench.cc). Held are about 100 bytes for each pair and half-life.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "base/time.h"
#include "cohorts/cell.h"
#include "scoring/accuracy.h"
#include "scoring/moment.h"

namespace plumblane {

// A pair and its series of Measure::kOnTime.
struct OnTimeHistory {
  Pair pair;
  Series on_time;
};

inline constexpr int kLastDays = 30;

enum class ForecastKind {
  kHalfLife,
  kLifetime,
  kLastDays,
  kLifetimeAlone,
  kLastDaysAlone,
  kAllPairs,
};

struct BacktestRules {
  double setting_days = 45;                     // the half-life in use, always tried; > 0, finite
  std::vector<double> half_lives_days = {};     // tried besides it; > 0, finite; repeats count once
  int days_ahead = 10;                          // from placing an order to its promised day, >= 0
  int first_days = 30;                          // > 0
  int64_t settle_delay_millis = kMillisPerDay;  // >= 0
};

// So many days from the first cohort on are not forecast: first_days, or until something has
// settled.
int LearntDays(const BacktestRules& rules);

struct ForecasterResult {
  ForecastKind kind = ForecastKind::kHalfLife;
  double half_life_days = 0;  // of kHalfLife
  bool is_setting = false;
  double log_loss = 0;  // means over orders
  double brier = 0;
  // log_loss less that of kLifetime, and less that of the setting; below 0: better than it. None
  // where orders were forecast in fewer than two blocks.
  std::optional<LossDifference> from_lifetime = {}, from_setting = {};
};

struct BacktestResult {
  std::vector<ForecasterResult> forecasters;  // least log_loss first
  int64_t order_count = 0;                    // forecast, each once
  int64_t late_count = 0;
  Day first_due, last_due;  // of these
};

// None when no order can be forecast: too little has settled. Asked before each day, `give_up` ends
// the work early, and then there is none either. REQUIRES: no pair twice, no empty pair; series
// ascending by day and plausible (cohorts/cell.h).
std::optional<BacktestResult> Backtest(std::span<const OnTimeHistory> histories,
                                       const Moment& moment, const BacktestRules& rules,
                                       const std::function<bool()>& give_up = {});

}  // namespace plumblane
