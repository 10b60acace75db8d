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
// The whole distribution comes from quadrature, not from draws: each rate becomes points on the
// logit scale with weights by its density (the trapezoid rule, which for such densities converges
// faster than any power of the number of points), each pair of points lands on a grid of costs. The
// chance of being cheapest is then, over the grid, the density of one times the probability that
// each other is dearer; cells shared by several count half for each pair (equal costs do not
// happen, the grid only cannot tell). See tests/ranking for how well this agrees with draws.
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
// Costs about ... us (measured in tests/bench/rank_bench).
CostQuantiles QuantilesOf(const CostBelief& belief);

// For each, the chance that it is the cheapest; they sum to 1. `sharpening` multiplies the
// parameters of all posteriors first: above 1 the best gains (kSharpening in shares.h).
// Costs about ... us for each that has a chance at all, less for the others.
// REQUIRES: not empty; sharpening > 0.
std::vector<double> ChancesOfCheapest(std::span<const CostBelief> beliefs, double sharpening = 1);

}  // namespace plumblane
