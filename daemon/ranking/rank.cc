#include "ranking/rank.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace plumblane {
namespace {

// E[(1 - X)^2] of a Beta X.
double SquareOfRest(double a, double b) { return b * (b + 1) / ((a + b) * (a + b + 1)); }

// "1 in 8"; shares too small to be told from none are said as such.
std::string OneIn(double share) {
  if (share < 0.0005) return "fewer than 1 in 2,000";
  // Above a half the nearest "1 in n" is 1 in 2, which would be too kind.
  if (share > 0.55) return absl::StrCat(std::lround(share * 100), " in 100");
  return absl::StrCat("1 in ", std::max(2L, std::lround(1 / share)));
}

double MeanOf(const RateEstimate& rate) {
  return rate.posterior_a / (rate.posterior_a + rate.posterior_b);
}

std::string ReasonFor(const RankCandidate& candidate, bool assumed) {
  const RateEstimate& late = candidate.score.on_time;
  const RateEstimate& bad = candidate.score.defect;
  if (assumed) {
    return "no order settled yet: taken to do as it does elsewhere, and as others do on this lane";
  }
  return absl::StrCat("expect ", OneIn(MeanOf(late)), " late and ", OneIn(MeanOf(bad)), " bad; ",
                      late.order_count,
                      late.order_count == 1 ? " order settled" : " orders settled");
}

Ranked Judge(size_t index, const RankCandidate& candidate) {
  Ranked ranked;
  ranked.candidate = index;
  const RateEstimate& late = candidate.score.on_time;
  const RateEstimate& bad = candidate.score.defect;
  if (late.posterior_a <= 0 || bad.posterior_a <= 0) {
    ranked.reason = "no order of any supplier has a promise whose day is over: nothing to judge by";
    ranked.assumed = true;
    return ranked;
  }
  ranked.assumed = late.order_count == 0;
  ranked.reason = ReasonFor(candidate, ranked.assumed);
  const double good = (1 - MeanOf(late)) * (1 - MeanOf(bad));
  const double square = SquareOfRest(late.posterior_a, late.posterior_b) *
                        SquareOfRest(bad.posterior_a, bad.posterior_b);
  // A Beta of mean m and variance v has a + b = m (1 - m) / v - 1.
  const double strength = good * (1 - good) / (square - good * good) - 1;
  const Interval limits = Beta{(1 - good) * strength, good * strength}.Limits();
  ranked.expected_bad = 1 - good;
  ranked.low = limits.low;
  ranked.high = limits.high;
  return ranked;
}

}  // namespace

std::vector<Ranked> RankByBadShare(const std::vector<RankCandidate>& candidates) {
  std::vector<Ranked> ranking;
  for (size_t i = 0; i < candidates.size(); ++i) ranking.push_back(Judge(i, candidates[i]));
  constexpr double kUnjudged = std::numeric_limits<double>::infinity();
  std::sort(ranking.begin(), ranking.end(), [&](const Ranked& x, const Ranked& y) {
    const double bad_x = x.expected_bad.value_or(kUnjudged);
    const double bad_y = y.expected_bad.value_or(kUnjudged);
    if (bad_x != bad_y) return bad_x < bad_y;
    return candidates[x.candidate].pair < candidates[y.candidate].pair;
  });
  for (size_t i = 1; i < ranking.size(); ++i) {
    ranking[i].close_to_first = ranking[i].low && *ranking[i].low <= *ranking[0].high;
  }
  return ranking;
}

}  // namespace plumblane
