#include "alerting/baseline.h"

#include <algorithm>
#include <cassert>

#include "alerting/cusum.h"
#include "scoring/decay.h"

namespace plumblane {
namespace {

constexpr int kYearDays = 364, kMonthDays = 28;

}  // namespace

Beta BaselineOf(const Prior& prior, std::span<const DayCount> days, Day design_day,
                double half_life_days, double correlation) {
  const DayWeights weights(half_life_days);
  double orders = 0, hits = 0;
  for (const DayCount& day : days) {
    assert(day.day < design_day);
    if (day.orders == 0) continue;
    const double deff = 1 + static_cast<double>(day.orders - 1) * correlation;
    const double weight = weights.Of(design_day - day.day) / deff;
    orders += weight * static_cast<double>(day.orders);
    hits += weight * static_cast<double>(day.hits);
  }
  return PosteriorOf(prior, hits, orders);
}

double DesignRate(const Beta& baseline) {
  return std::clamp(baseline.Quantile(kDesignQuantile), kLeastDesignRate, kMostDesignRate);
}

double YearlyOrders(std::span<const DayCount> days, Day day) {
  double year = 0, month = 0;
  for (const DayCount& count : days) {
    if (count.day >= day) continue;
    if (day - count.day <= kYearDays) year += static_cast<double>(count.orders);
    if (day - count.day <= kMonthDays) month += static_cast<double>(count.orders);
  }
  return std::max(year, month * kYearDays / kMonthDays);
}

double TargetRun(double yearly_orders, double false_alarms_a_year) {
  assert(yearly_orders >= 0 && false_alarms_a_year > 0);
  return std::clamp(yearly_orders / false_alarms_a_year, kLeastTarget, kMostTarget);
}

}  // namespace plumblane
