// Which supplier gets the next order: candidates sorted by the share of orders that come late or
// bad, as far as their own orders and the priors tell.
//
// The measure is P(late or bad) = 1 - P(on time) P(no defect), the two rates taken as independent,
// so it stays between 0 and 1. Its mean and variance follow from those of the two posteriors; its
// interval is that of the Beta distribution with the same mean and variance (an approximation:
// exact in the first two moments).
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "cohorts/cell.h"
#include "scoring/beta.h"
#include "scoring/priors.h"

namespace plumblane {

struct RankCandidate {
  Pair pair;
  // Posteriors of the late and of the defect rate; none when there is nothing to judge by.
  std::optional<Beta> late, bad;
  int64_t order_count = 0;  // its own settled orders
};
RankCandidate CandidateOf(const Pair& pair, const PairRates& rates, const Priors& priors);

struct Ranked {
  size_t candidate = 0;  // position in the input
  // Absent when neither it nor any other supplier has an order to judge by.
  std::optional<double> expected_bad, low, high;
  bool assumed = false;         // no settled order of its own: the prior alone
  bool close_to_first = false;  // its interval overlaps that of the first
  std::string reason;           // one plain sentence
};

// What RankByBadShare tells of each, its limits and reason left out.
Ranked FiguresOf(const RankCandidate& candidate);

// Best first; those that cannot be judged last; ties by (supplier, lane). Only the first `limit`
// get limits, close_to_first and a reason, which cost some 5 us each; sorting costs 0.1 us a
// candidate.
std::vector<Ranked> RankByBadShare(const std::vector<RankCandidate>& candidates,
                                   size_t limit = SIZE_MAX);

}  // namespace plumblane
