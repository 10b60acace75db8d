// Two shares side by side: how far apart they are, and whether that is more than chance.
//
// For undecayed counts. The difference and its 95 % limits are Newcombe's hybrid score interval
// (his method 10): with p, l, u the shares and their Wilson limits and d = p1 - p2,
//     d - sqrt((p1 - l1)^2 + (u2 - p2)^2),  d + sqrt((u1 - p1)^2 + (p2 - l2)^2).
// The p-value is that of the 'N-1' chi-squared test when all four expected counts are 1 or more,
// else of the Fisher-Irwin test by Irwin's rule (all tables no likelier than the one seen). Of many
// comparisons the p-values are adjusted by Benjamini and Hochberg's procedure: to call those with
// an adjusted p of at most q different is to be wrong in a share q of such calls at most, also when
// comparisons overlap in the same direction. Intervals are not adjusted.
//
// Sources: R. Newcombe, "Interval estimation for the difference between independent proportions",
// Stat. Med. 17 (1998) 873-890; I. Campbell, "Chi-squared and Fisher-Irwin tests of two-by-two
// tables with small sample recommendations", Stat. Med. 26 (2007) 3661-3675; Y. Benjamini, Y.
// Hochberg, JRSS B 57 (1995) 289-300.
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "scoring/beta.h"

namespace plumblane {

// Orders, and those of them that came late, say. REQUIRES, everywhere: 0 <= hits <= orders.
struct HitCount {
  int64_t orders = 0, hits = 0;

  void Add(const HitCount& other) {
    orders += other.orders;
    hits += other.hits;
  }
  double Share() const { return static_cast<double>(hits) / static_cast<double>(orders); }
  bool operator==(const HitCount&) const = default;
};

// Fewer orders than this say too little to judge by. Ours: of nine good orders the Wilson limits
// still reach down to 0.7.
inline constexpr int64_t kFewestToJudge = 10;

// What an adjusted p-value must not exceed to call two shares different.
inline constexpr double kMostFalseCalls = 0.1;

struct Comparison {
  double difference = 0;  // share of the first less that of the second
  Interval limits;        // 95 %
  double p_value = 1;     // two-sided
  bool operator==(const Comparison&) const = default;
};

// REQUIRES: orders in both.
Comparison Compare(const HitCount& first, const HitCount& second);

// The two tests behind it, for tests and for those who know which they want.
// REQUIRES: orders in both.
double ChiSquaredP(const HitCount& first, const HitCount& second);
double FisherIrwinP(const HitCount& first, const HitCount& second);

// One adjusted p-value for each, in the same order. O(n log n).
std::vector<double> AdjustForNumber(std::span<const double> p_values);

}  // namespace plumblane
