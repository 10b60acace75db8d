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

#include <array>
#include <cassert>
#include <cstddef>
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

// DecayWeight of ages in whole days, bit for bit, each computed once: what a thread has computed is
// kept until it asks by another half-life. Cohorts of all pairs have the same few hundred ages, and
// 2^x took a third of the time of counting them. One instance belongs to the thread that made it.
class DayWeights {
 public:
  // REQUIRES: half_life_days > 0.
  explicit DayWeights(double half_life_days);

  // REQUIRES: age_days >= 0.
  double Of(int32_t age_days) const {
    assert(age_days >= 0);
    const auto age = static_cast<size_t>(age_days);
    // Another instance may have turned the table to its own half-life in the meantime.
    if (age < kKeptDays && known_->half_life_days == half_life_days_ && known_->weights[age] >= 0) {
      return known_->weights[age];
    }
    return Compute(age_days);
  }

 private:
  static constexpr size_t kKeptDays = 2048;  // older ones are computed each time
  struct Known {
    double half_life_days = 0;
    std::array<double, kKeptDays> weights;  // below 0: not yet computed
    Known() { weights.fill(-1); }
  };

  double Compute(int32_t age_days) const;

  Known* known_;
  double half_life_days_;
};

// Sums over weighted contributions. Only ever added to: taking an order out means taking it out of
// its cell, in integers, and summing anew.
struct WeightedSums {
  double w1 = 0;  // sum of w
  double w2 = 0;  // sum of w^2
  double s = 0;   // sum of w x

  // `count` contributions of the same weight, whose values x sum up to `total`.
  void Add(double weight, int64_t count, double total) {
    w1 += weight * static_cast<double>(count);
    w2 += weight * weight * static_cast<double>(count);
    s += weight * total;
  }

  // As if each weight had been `factor` times what it was.
  void Scale(double factor) {
    w1 *= factor;
    w2 *= factor * factor;
    s *= factor;
  }

  bool operator==(const WeightedSums&) const = default;

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
