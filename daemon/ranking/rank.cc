#include "ranking/rank.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "ranking/reasons.h"

namespace plumblane {
namespace {

// E[(1 - X)^2] of a Beta X.
double SquareOfRest(double a, double b) { return b * (b + 1) / ((a + b) * (a + b + 1)); }

std::string ReasonFor(const RankCandidate& candidate) {
  if (candidate.order_count == 0) {
    return "no order settled yet: taken to do as it does elsewhere, and as others do on this lane";
  }
  return absl::StrCat("expect ", OneIn(candidate.late->Mean()), " late and ",
                      OneIn(candidate.bad->Mean()), " bad; ", candidate.order_count,
                      candidate.order_count == 1 ? " order settled" : " orders settled");
}

bool CanJudge(const RankCandidate& candidate) { return candidate.late && candidate.bad; }

double ExpectedBad(const RankCandidate& candidate) {
  return 1 - (1 - candidate.late->Mean()) * (1 - candidate.bad->Mean());
}

void Detail(const RankCandidate& candidate, Ranked& ranked) {
  if (!CanJudge(candidate)) {
    ranked.reason = "no order of any supplier has a promise whose day is over: nothing to judge by";
    return;
  }
  ranked.reason = ReasonFor(candidate);
  const Beta& late = *candidate.late;
  const Beta& bad = *candidate.bad;
  const double good = (1 - late.Mean()) * (1 - bad.Mean());
  const double square = SquareOfRest(late.a, late.b) * SquareOfRest(bad.a, bad.b);
  // A Beta of mean m and variance v has a + b = m (1 - m) / v - 1.
  const double strength = good * (1 - good) / (square - good * good) - 1;
  const Interval limits = Beta{(1 - good) * strength, good * strength}.Limits();
  ranked.low = limits.low;
  ranked.high = limits.high;
}

}  // namespace

RankCandidate CandidateOf(const Pair& pair, const PairRates& rates, const Priors& priors) {
  RankCandidate candidate{pair, {}, {}, rates.on_time.order_count};
  if (priors.late) {
    candidate.late = PosteriorOf(*priors.late, rates.on_time.late_weight, rates.on_time.weight);
  }
  if (priors.defect) {
    const WeightedSums sums = DefectSums(rates.defect, priors.defect_delay);
    candidate.bad = PosteriorOf(*priors.defect, sums.s, sums.w1);
  }
  return candidate;
}

Ranked FiguresOf(const RankCandidate& candidate) {
  Ranked ranked;
  ranked.assumed = !CanJudge(candidate) || candidate.order_count == 0;
  if (CanJudge(candidate)) ranked.expected_bad = ExpectedBad(candidate);
  return ranked;
}

std::vector<Ranked> RankByBadShare(const std::vector<RankCandidate>& candidates, size_t limit) {
  constexpr double kUnjudged = std::numeric_limits<double>::infinity();
  std::vector<std::pair<double, size_t>> order;  // expected share and position
  order.reserve(candidates.size());
  for (size_t i = 0; i < candidates.size(); ++i) {
    order.emplace_back(CanJudge(candidates[i]) ? ExpectedBad(candidates[i]) : kUnjudged, i);
  }
  std::sort(order.begin(), order.end(), [&](const auto& x, const auto& y) {
    if (x.first != y.first) return x.first < y.first;
    return candidates[x.second].pair < candidates[y.second].pair;
  });
  std::vector<Ranked> ranking(order.size());
  for (size_t i = 0; i < order.size(); ++i) {
    ranking[i] = FiguresOf(candidates[order[i].second]);
    ranking[i].candidate = order[i].second;
  }
  for (size_t i = 0; i < std::min(limit, ranking.size()); ++i) {
    Ranked& ranked = ranking[i];
    Detail(candidates[ranked.candidate], ranked);
    ranked.close_to_first = i > 0 && ranked.low && *ranked.low <= *ranking[0].high;
  }
  return ranking;
}

}  // namespace plumblane
