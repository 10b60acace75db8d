// How much rates differ between groups of orders: the strength of a prior, read off the groups
// themselves.
//
// The rate of group j is taken to come from Beta(m_j M_j, (1 - m_j) M_j) and its hits to be
// binomial given that rate, so that hits are beta-binomial. Groups that differ no more than chance
// would have it speak for a large M (share everything), groups far apart for a small one (each for
// itself). M counts in orders: a group with M orders of its own is believed half.
//
// Counts may be fractional, but they must be counts of *information*: for decayed orders the
// effective number W1^2/W2 and the hits scaled alike, never W1 itself. A sum of weights understates
// how well a group is known, so that groups look more alike than they can be; on steady streams W1
// doubles M.
//
// Three answers are given, for three uses:
//   - `likeliest`: the maximum of the likelihood over 1 .. 1000. With few groups it often
//     runs to the upper end, and intervals built on it cover 60 to 85 % instead of 95 %
//     (tests/scoring/prior_simulation_test.cc): good as evidence, not to compute with.
//   - `expected`: 1/E[1/(M + 1)] - 1, the expectation over the likelihood with log M spread
//     evenly over 1 .. 1000. The variance of a rate is m (1 - m)/(M + 1), so this averages what
//     the interval is made of. With many groups both are the same.
//   - FitBeta: mean and strength together, by maximum likelihood.
//
// Sources: J. Skellam, JRSS B 10 (1948) 257-261 (beta-binomial); J. Kleinman, "Proportions with
// extraneous variance: single and independent samples", JASA 68 (1973) 46-54 (moments);
// A. Gelman et al., "Bayesian Data Analysis", 3rd ed. (2013), ch. 5 (averaging over the strength).
//
// Pure and thread-safe; the same groups in the same order give the same bits. One evaluation of the
// likelihood is O(groups), about 0.06 us each; a fit of the strength takes 17, and 7 us.
#pragma once

#include <optional>
#include <span>

#include "scoring/beta.h"

namespace plumblane {

// Beyond this strength groups cannot be told apart in practice.
inline constexpr double kMostStrength = 1000;
inline constexpr double kLeastStrength = 1;

struct RateGroup {
  double orders = 0;  // effective, >= 0
  double hits = 0;    // on the same scale, >= 0; hits beyond `orders` leave no miss
  double mean = 0.5;  // m_j, in (0, 1)
  // How uncertain the mean itself is: 1/M_j = 1/M + spread. >= 0.
  double spread = 0;
  double weight = 1;  // how much the group speaks, in [0, 1]
};

struct StrengthEstimate {
  double likeliest = kMostStrength;
  double expected = kMostStrength;
  // The likelihood is highest at kMostStrength: no difference between groups can be detected.
  bool no_difference = true;
  bool operator==(const StrengthEstimate&) const = default;
};

// Sum over groups of weight * LogEvidence, each under its own mean. REQUIRES: strength > 0.
double LogLikelihood(std::span<const RateGroup> groups, double strength);

// Both are read off one curve: the likelihood is evaluated at the 17 Chebyshev points of log M over
// the range, and the polynomial of degree 16 through them stands for it. Of 3,000 random groups it
// is off by .02 at most, of 300 by .002, less than tells strengths apart. On it: a grid of 129 with
// both ends, then golden section between the neighbours of its best point (or from it, at an
// end) until they are 1e-3 in log M apart, with equal heights leaving out the upper part; the
// likeliest is the highest of all these points, and the expectation goes by the trapezoidal rule
// over all of them. Heights that differ by up to 1e-9 (of the highest, where it is beyond 1), or by
// no more than the curve's last two terms, count as the same: where all of the grid are, nothing is
// searched, and where the upper end is as high as any, it is the likeliest. Without groups, and
// when every group has one order, nothing is learnt: likeliest is kMostStrength, expected about 9.
// Source of the points: L. Trefethen, "Approximation Theory and Approximation Practice" (2013).
StrengthEstimate FitStrength(std::span<const RateGroup> groups);

// What moments say of mean, spread and strength, every group counting by its orders; one step.
// gamma = 1/(M + 1) is the part of m (1 - m) that lies between groups; at 0 strength is infinite.
struct MomentFit {
  double mean = 0;
  double gamma = 0;
  double strength = 0;
};
// None without orders, and when no order or every order is a hit. Means, spreads and weights of the
// groups are not read.
std::optional<MomentFit> FitMoments(std::span<const RateGroup> groups);

// The Beta the rates of the groups most likely come from, by Newton's method from the pooled mean
// and three strengths (FitMoments' one of them), to 1e-9 of its parameters. None when the
// likelihood has no maximum below kMostStrength: also where groups have one order each, or there is
// but one. Means and spreads of the groups are not read.
std::optional<Beta> FitBeta(std::span<const RateGroup> groups);

}  // namespace plumblane
