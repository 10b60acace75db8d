// Half-life decay: how much an order counts, given how far its cohort lies back.
//
// The weight is 2^(-age / half_life): with a half-life of 45 days an order of 45 days ago counts
// half of one of today, an order of 90 days ago a quarter. The age is that of the cohort's day,
// which is fixed before the outcome is known; a weight that depended on the outcome would bias
// every score. Such weights are the one case where decaying backward from now and forward from a
// fixed landmark are the same thing, so nothing stored depends on the half-life.
//
// Sources: G. Cormode, V. Shkapenyuk, D. Srivastava, B. Xu, "Forward Decay: A Practical Time Decay
// Model for Streaming Systems", ICDE 2009, 138-149; L. Kish, "Survey Sampling", 1965 (effective
// sample size).
//
// Pure and thread-safe.
#pragma once

#include <cstdint>

namespace plumblane {

// Half-lives that a user may choose: an hour to a hundred years.
inline constexpr double kShortestHalfLifeDays = 1.0 / 24, kLongestHalfLifeDays = 36'525;

// False for NaN too.
constexpr bool IsHalfLife(double days) {
  return days >= kShortestHalfLifeDays && days <= kLongestHalfLifeDays;
}

// 2^(-age_days / half_life_days). Ages beyond about 1074 half-lives weigh exactly nothing.
// REQUIRES: age_days >= 0; half_life_days > 0.
double DecayWeight(double age_days, double half_life_days);

// Sums over weighted contributions. Only ever added to: taking an order out means taking it out of
// its cell, in integers, and summing anew.
struct WeightedSums {
  double w1 = 0;  // sum of w
  double w2 = 0;  // sum of w^2
  double s = 0;   // sum of w x

  // `count` contributions of the same weight, whose values x sum up to `total`.
  void Add(double weight, int64_t count, double total);

  // The decayed mean s / w1. REQUIRES: w1 > 0.
  double Mean() const;

  // How many equal contributions would measure a steady mean as well: w1^2 / w2; 0 without any.
  // For steady arrivals it tends to twice w1. Use w1 for "what is it now", this for "how well is
  // the average known", and never both in one table.
  double EffectiveSize() const;

  // The sum of x on that scale: EffectiveSize() * s / w1; 0 without any.
  double EffectiveHits() const;
};

}  // namespace plumblane
