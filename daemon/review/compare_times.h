// Times of two groups of orders side by side: which took longer, and whether that is more than
// chance, when some are not over yet.
//
// Harrington and Fleming's G-rho test with rho = 1, which is Peto and Peto's form of the Wilcoxon
// test for censored times. With d = d1 + d2 events in a bucket, Y = Y1 + Y2 orders at risk in it
// and S the Kaplan-Meier estimate of both groups together just before it:
//     U = sum of S (d1 - d Y1/Y),  V = sum of S^2 d (Y1/Y) (Y2/Y) (Y - d)/(Y - 1),
// and U^2/V is chi-squared with one degree of freedom. An event counts by how many are still
// waiting: a shift of most orders, which is what half and nine in ten tell of, weighs more than
// the few in the tail, where lost parcels stay for good (the log-rank test, rho = 0, weighs that
// as much). Unlike Gehan's form the weights do not depend on how long either group was watched,
// which differs between a period and the one before it. Ties are as the hypergeometric variance
// has them. REQUIRES of the figures, not checked: that not being watched longer says nothing of an
// order's time.
//
// Sources: D. Harrington, T. Fleming, "A class of rank test procedures for censored survival data",
// Biometrika 69 (1982) 553-566; R. Peto, J. Peto, JRSS A 135 (1972) 185-207.
//
// Pure and thread-safe.
#pragma once

#include <span>

#include "scoring/times.h"

namespace plumblane {

struct TimesComparison {
  bool longer = false;  // the first group's took longer; false as well where nothing tells
  double p_value = 1;   // two-sided; 1 where nothing tells
  bool operator==(const TimesComparison&) const = default;
};

// REQUIRES: both ascending by bucket. O(buckets).
TimesComparison CompareTimes(std::span<const Leavers> first, std::span<const Leavers> second);

}  // namespace plumblane
