// How much the orders of one day go wrong together.
//
// The correlation of two orders of one day is estimated by moments, from how much more the shares
// of hits differ from day to day than chance would have it. Per group of days, with n_j orders on
// day j, N in all, p the share of hits:
//     S = sum n_j (p_j - p)^2,   A = sum n_j (1 - n_j/N),   B = sum (1 - n_j/N),
// E[S] = v (B + correlation (A - B)) with v = p (1 - p) N/(N - 1) the variance of one order, so
// that nothing is found on average where there is nothing. Numerator and denominator are summed
// over all groups. A group is one lane in four weeks: lanes differ, and lanes change, without the
// orders of a day having anything in common.
//
// Source: J. Kleinman, "Proportions with extraneous variance: single and independent samples",
// JASA 68 (1973) 46-54. The groups and N/(N - 1) are our own.
//
// Pure and thread-safe. O(days).
#pragma once

#include <span>

#include "alerting/day_count.h"

namespace plumblane {

// At most so much is left to chance and not counted.
inline constexpr double kNegligibleCorrelation = .02;

class DayCorrelation {
 public:
  // The settled days of one lane, ascending.
  void Add(std::span<const DayCount> days);

  // As estimated, perhaps below 0; 0 without days of two orders.
  double Estimate() const;

  // What charts use: the estimate, at most 1/2, or 0 when it is negligible.
  double Used() const;

 private:
  void AddGroup(std::span<const DayCount> days);

  double excess_ = 0, room_ = 0;  // sum of S - v B, of v (A - B)
};

}  // namespace plumblane
