#include "ranking/chase.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <cmath>

#include "cohorts/buckets.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

double InDays(int64_t millis) {
  return static_cast<double>(millis) / static_cast<double>(kMillisPerDay);
}

// "half a day", "1 day", "12 days".
std::string About(double days) {
  if (days < 0.75) return days < 0.25 ? "a few hours" : "half a day";
  const long whole = std::lround(days);
  return absl::StrCat(whole, whole == 1 ? " day" : " days");
}

// S after the first so many buckets.
double SurvivalWithin(const Curve& curve, uint32_t buckets) {
  return buckets == 0 ? 1 : curve.SurvivalAfter(buckets - 1);
}

// About how many equal orders were still out after the first so many buckets.
double StillOut(const Curve& curve, uint32_t buckets) {
  const auto& steps = curve.steps;
  const auto next =
      std::lower_bound(steps.begin(), steps.end(), buckets,
                       [](const CurveStep& step, uint32_t bucket) { return step.bucket < bucket; });
  if (next == steps.begin()) return steps.empty() ? 0 : next->at_risk;
  const auto last = std::prev(next);
  const double before = last == steps.begin() ? 1 : std::prev(last)->survival;
  return last->at_risk * last->survival / before;
}

}  // namespace

LegCurve LegCurveOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                    const ScoreRules& rules) {
  LegCurve leg{TimesCurveOf(measure, series, scope, moment, rules).curve, std::nullopt};
  double orders = 0;
  for (const Cohort& cohort : Watched(series, moment)) {
    VisitTallies(cohort.cell, scope,
                 [&](const Tally& tally) { orders += static_cast<double>(tally.entered); });
    if (orders < kFewestAtRisk) continue;
    leg.followed_millis = WatchMillis(cohort.day, moment);
    break;
  }
  return leg;
}

std::optional<double> ChanceStillOut(const LegCurve& leg, int64_t age, int64_t until) {
  const uint32_t now = BucketsWithin(std::max<int64_t>(0, age));
  const uint32_t then = BucketsWithin(std::max<int64_t>(0, until));
  if (StillOut(leg.curve, now) < kFewestAtRisk * (1 - 1e-9)) return std::nullopt;
  const double left = SurvivalWithin(leg.curve, then);
  if (left > 0 && leg.followed_millis.value_or(-1) < until) return std::nullopt;
  return left / SurvivalWithin(leg.curve, now);
}

std::optional<double> LateChance(const Chased& order, const std::vector<const LegCurve*>& curves,
                                 Instant news) {
  if (!order.deadline) return std::nullopt;
  if (*order.deadline < news) return 1;
  const Instant start = order.shipped.value_or(order.paid);
  for (const LegCurve* leg : curves) {
    const auto chance = ChanceStillOut(*leg, news - start, *order.deadline - start);
    if (chance) return chance;
  }
  return std::nullopt;
}

bool IsSlowToLeave(const Chased& order, Instant news) {
  return !order.shipped && order.usual_days && InDays(news - order.paid) > *order.usual_days;
}

std::string WhyChase(const Chased& order, std::optional<double> late_chance, Instant news) {
  std::string why;
  const auto add = [&why](const std::string& text) {
    absl::StrAppend(&why, why.empty() ? "" : "; ", text);
  };
  if (order.deadline && *order.deadline < news) {
    add(absl::StrCat(About(InDays(news - *order.deadline)), " past its promise",
                     order.shipped ? "" : " and not shipped"));
  } else if (late_chance && *late_chance > kLikelyLate) {
    const double age = InDays(news - order.shipped.value_or(order.paid));
    add(absl::StrCat(About(age), order.shipped ? " on its way: " : " since payment: ",
                     std::lround(100 * *late_chance),
                     " in 100 like it came later than this one was promised"));
  }
  if (IsSlowToLeave(order, news)) {
    add(absl::StrCat("not shipped after ", About(InDays(news - order.paid)),
                     "; nine in ten of its supplier leave within ", About(*order.usual_days)));
  }
  return why;
}

}  // namespace plumblane
