// What the next order will cost, as far as is believed: fixed costs, and what depends on two
// uncertain rates.
//
// The cost of an order given to a supplier is taken as
//     C = fixed + per_late X + per_bad Y
// with X its late rate and Y its defect rate, independent, each with a Beta posterior. Fixed holds
// price and all that depends on times. So E C = fixed + per_late E X + per_bad E Y, and the
// variance likewise with squares. What spreads here is belief, not luck: an order that costs C on
// average.
//
// The whole distribution comes from quadrature, not from draws. The density of each rate at points
// evenly spaced on the logit scale gives its distribution function (the trapezoid rule, which for
// such densities converges faster than any power of the number of points); both are put on even
// steps of cost, keeping their means, and convolved. For the chance of being cheapest, all
// distributions are cut into cells of cost small enough that the cheapest rarely has company in
// its cell; within a cell each is taken as spread evenly. Nothing is computed for costs that, by
// Cantelli's inequality, all exceed with a chance below one in a million.
//
// Against the same rule with 16 times the steps and points, in 400 tables of 2 to 8 candidates with
// parameters from 0.05 to 1e6: half of the chances' largest differences are below .0003, 19 of 20
// below .001, the largest is .013 (parameters of .05); in 10 tables of 200 with prices within 5 %,
// where steps are half as many, at most .0014. tests/ranking compares with draws.
//
// Sources: W. Thompson, Biometrika 25 (1933) 285-294 (chance of being best); L. Trefethen,
// J. Weideman, "The exponentially convergent trapezoidal rule", SIAM Review 56 (2014) 385-458.
//
// Pure and thread-safe.
#pragma once

#include <span>
#include <vector>

#include "scoring/beta.h"

namespace plumblane {

// Amounts in minor units of one currency. REQUIRES: finite; per_late and per_bad >= 0.
struct CostBelief {
  double fixed = 0;
  double per_late = 0, per_bad = 0;  // when the rate is 1
  Beta late, bad;

  double Expected() const;
  double StandardDeviation() const;
};

struct CostQuantiles {
  double low = 0, median = 0, high = 0;  // 5, 50 and 95 %
};
// Costs about 7 us (tests/bench/rank_bench).
CostQuantiles QuantilesOf(const CostBelief& belief);

// The cost with that much probability below it, about 6 us. REQUIRES: 0 < p < 1.
double QuantileOf(const CostBelief& belief, double p);

// P(C <= amount), about 6 us.
double ChanceAtMost(const CostBelief& belief, double amount);

// For each, the chance that it is the cheapest; they sum to 1; equal beliefs have equal chances.
// `sharpening` multiplies the parameters of all posteriors first: above 1 the best gains
// (kSharpening in shares.h).
// Costs 4 us for each that has a chance at all (5 to 6 us among few), some .2 us for each of the
// others.
// REQUIRES: not empty; sharpening > 0.
std::vector<double> ChancesOfCheapest(std::span<const CostBelief> beliefs, double sharpening = 1);

}  // namespace plumblane
