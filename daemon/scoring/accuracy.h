// How well forecasts came true: log loss and Brier score, what the latter is made of, and whether
// one way of forecasting beat another by more than chance.
//
// A forecast is the probability that one order comes late (or turns out bad), given before it was
// known; each order is forecast and scored once.
//
//   log loss     -log of the probability given to what happened; probabilities are held within
//                [1e-4, 1 - 1e-4], so that one sure mistake costs 9.2 and not everything
//   Brier score  mean of (f - o)^2, o = 1 when it happened. Over the distinct forecasts f_k, each
//                made n_k times with a share o_k of hits, and o the share of all,
//                    score = REL - RES + UNC
//                    REL = sum n_k (f_k - o_k)^2 / N    reliability: how far off; 0 is best
//                    RES = sum n_k (o_k - o)^2 / N      resolution: how far apart; more is better
//                    UNC = o (1 - o)                    uncertainty of the matter itself
//
// Orders of the same days share weather, holidays and carriers, so that losses of single orders are
// no independent draws. Two ways of forecasting are compared by the differences of their losses
// summed over blocks of days: the standard error of the sum is sd(blocks) sqrt(blocks).
//
// Sources: G. Brier, Mon. Weather Rev. 78 (1950) 1-3; A. Murphy, "A new vector partition of the
// probability score", J. Appl. Meteorol. 12 (1973) 595-600.
//
// Pure and thread-safe. O(n log n).
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "base/time.h"

namespace plumblane {

struct Forecast {
  double probability = 0;  // 0 to 1
  bool happened = false;
};

// Of one forecast.
double LogLoss(const Forecast& forecast);
double SquaredError(const Forecast& forecast);

// Means over forecasts; none without any.
std::optional<double> MeanLogLoss(std::span<const Forecast> forecasts);

struct BrierParts {
  double score = 0;
  double reliability = 0, resolution = 0, uncertainty = 0;
  // score - (reliability - resolution + uncertainty). 0 up to rounding without bins; what forecasts
  // within one bin differ by otherwise.
  double remainder = 0;
  // 1 - score/uncertainty: the gain over always saying o. None when all or nothing happened.
  std::optional<double> skill;
};

// Without `bins` each distinct forecast is a group of its own. With them, forecasts are grouped
// into so many equal parts of [0, 1], and f_k is the mean forecast of the part: for forecasts that
// hardly ever repeat. None without forecasts. REQUIRES: bins > 0 when given.
std::optional<BrierParts> BrierOf(std::span<const Forecast> forecasts,
                                  std::optional<int> bins = std::nullopt);

// What two ways of forecasting lost on one order, or in sum on several orders of one day.
struct JudgedLoss {
  Day day;  // of the orders: all of a comparison by the same kind of day
  double loss = 0;
  double baseline_loss = 0;
  int64_t order_count = 1;  // >= 1
};

struct LossDifference {
  double mean = 0;            // of loss - baseline_loss by order; below 0: better than the baseline
  double standard_error = 0;  // of that mean
  int64_t order_count = 0;
  int block_count = 0;
};

inline constexpr int kBlockDays = 5;

// Blocks are whole multiples of `block_days` since 1970, so that they do not depend on where the
// orders begin; blocks without orders are none. None with fewer than two blocks: then nothing is
// known of the error. REQUIRES: block_days > 0, no day before 1970.
std::optional<LossDifference> CompareLosses(std::span<const JudgedLoss> losses,
                                            int block_days = kBlockDays);

}  // namespace plumblane
