// Counts published with a known analysis: groups with orders and hits.
#pragma once

#include <vector>

#include "scoring/strength.h"

namespace plumblane::published {

// R. Tarone, Biometrics 38 (1982) 215-220, as in A. Gelman et al., "Bayesian Data Analysis", 3rd
// ed. (2013), table 5.1: rats with a tumour in 70 earlier experiments and, last, the one in
// question.
inline std::vector<RateGroup> Tumours() {
  const int hits[] = {0, 0, 0, 0,  0, 0, 0, 0, 0,  0,  0, 0, 0, 0, 1, 1, 1, 1, 1,  1,  1,  1, 2, 2,
                      2, 2, 2, 2,  2, 2, 2, 1, 5,  2,  5, 3, 2, 7, 7, 3, 3, 2, 9,  10, 4,  4, 4, 4,
                      4, 4, 4, 10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4};
  const int rats[] = {20, 20, 20, 20, 20, 20, 20, 19, 19, 19, 19, 18, 18, 17, 20, 20, 20, 20,
                      19, 19, 18, 18, 25, 24, 23, 20, 20, 20, 20, 20, 20, 10, 49, 19, 46, 27,
                      17, 49, 47, 20, 20, 13, 48, 50, 20, 20, 20, 20, 20, 20, 20, 48, 19, 19,
                      19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 47, 46, 24, 14};
  static_assert(std::size(hits) == 71 && std::size(rats) == 71);
  std::vector<RateGroup> groups;
  for (size_t i = 0; i < std::size(hits); ++i) {
    groups.push_back({.orders = 1.0 * rats[i], .hits = 1.0 * hits[i]});
  }
  return groups;
}

// B. Efron, C. Morris, "Stein's paradox in statistics", Sci. Amer. 236 (1977) no. 5, 119-127: hits
// in the first 45 at-bats of 18 players in 1970, Clemente first.
inline std::vector<RateGroup> Batters() {
  std::vector<RateGroup> groups;
  for (const int hits : {18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7}) {
    groups.push_back({.orders = 45, .hits = 1.0 * hits});
  }
  return groups;
}

inline double HitsOf(const std::vector<RateGroup>& groups) {
  double hits = 0;
  for (const RateGroup& group : groups) hits += group.hits;
  return hits;
}

inline double OrdersOf(const std::vector<RateGroup>& groups) {
  double orders = 0;
  for (const RateGroup& group : groups) orders += group.orders;
  return orders;
}

// The same groups, all with one mean.
inline std::vector<RateGroup> WithMean(std::vector<RateGroup> groups, double mean) {
  for (RateGroup& group : groups) group.mean = mean;
  return groups;
}

}  // namespace plumblane::published
