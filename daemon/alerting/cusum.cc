#include "alerting/cusum.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "alerting/chain.h"

namespace plumblane {
namespace {

constexpr double kLatticeError = .02;
constexpr double kClearEvidence = 3;  // log of the likelihood ratio
constexpr double kRateGrid = 1.02, kTargetsPerDecade = 20;
constexpr double kRounding = 1e-9;  // what lies on the grid stays there

// r1.
double MissScore(double rate, double odds_ratio) {
  return -std::log((1 - WorsenedRate(rate, odds_ratio)) / (1 - rate));
}

// The smallest level that runs for `target` orders, from a guess.
int LevelFor(const Steps& steps, double rate, double target) {
  const double guess = GuessLevel(steps, rate, target);
  const auto runs = [&](int level) { return OrdersToAlarm(steps, level, rate) >= target; };
  int high = std::max(1, static_cast<int>(guess));
  int stride = std::max(1, high / 50);
  int low = 0;  // does not run so long; 0 never does
  if (runs(high)) {
    for (; high - stride > 0 && runs(high - stride); stride *= 2) high -= stride;
    low = std::max(0, high - stride);
  } else {
    for (low = high; !runs(low + stride); stride *= 2) low += stride;
    high = low + stride;
  }
  while (high - low > 1) {
    const int middle = low + (high - low) / 2;
    (runs(middle) ? high : low) = middle;
  }
  return high;
}

}  // namespace

double WorsenedRate(double rate, double odds_ratio) {
  assert(rate > 0 && rate < 1 && odds_ratio > 0);
  return odds_ratio * rate / (1 - rate + odds_ratio * rate);
}

Steps ChooseSteps(double rate, double odds_ratio) {
  assert(odds_ratio >= 1.5 && odds_ratio <= 10);
  const double g = MissScore(rate, odds_ratio) / std::log(odds_ratio);
  Steps steps;
  for (const int a : {1, 2, 4, 8, 16}) {
    steps = {a, static_cast<int>(std::lround(a / g))};
    if (std::fabs(a / (steps.per_hit * g) - 1) <= kLatticeError) break;
  }
  return steps;
}

int64_t DayScore(const Steps& steps, int64_t orders, int64_t hits, double correlation) {
  assert(hits >= 0 && hits <= orders && correlation >= 0 && correlation < 1);
  const int64_t score = kLevelUnit * (steps.per_hit * hits - steps.per_order * orders);
  if (correlation == 0 || orders <= 1) return score;
  const double deff = 1 + static_cast<double>(orders - 1) * correlation;
  return std::llround(static_cast<double>(score) / deff);
}

double OrdersToAlarm(const Steps& steps, int level, double rate, int start) {
  assert(level > start && start >= 0 && rate > 0 && rate < 1);
  const int up = steps.per_hit - steps.per_order;
  Chain chain(level, steps.per_order, up);
  for (int s = 0; s < level; ++s) {
    chain.Add(s, std::max(0, s - steps.per_order), 1 - rate);
    if (s + up < level) chain.Add(s, s + up, rate);
  }
  return chain.ExpectedSteps()[static_cast<size_t>(start)];
}

double OrdersToClear(const Steps& steps, int level, double rate) {
  assert(level > 0 && rate > 0 && rate < 1);
  const int down = steps.per_hit - steps.per_order;
  Chain chain(level, down, steps.per_order);
  for (int s = 0; s < level; ++s) {
    chain.Add(s, std::max(0, s - down), rate);
    if (s + steps.per_order < level) chain.Add(s, s + steps.per_order, 1 - rate);
  }
  return chain.ExpectedSteps()[0];
}

double GuessLevel(const Steps& steps, double rate, double target) {
  const double gamma = static_cast<double>(steps.per_order) / steps.per_hit;
  assert(target > 0 && rate < gamma);
  // Newton's method on a convex function, from above its root.
  double r = -std::log(rate) / (1 - gamma);
  for (int round = 0; round < 60; ++round) {
    const double hit = rate * std::exp(r * (1 - gamma)), miss = (1 - rate) * std::exp(-r * gamma);
    r -= (hit + miss - 1) / (hit * (1 - gamma) - miss * gamma);
  }
  // e^x - x - 1 = run.
  const double run = target * r * (gamma - rate);
  double x = 1;
  for (int round = 0; round < 60; ++round) x = std::log(1 + x + run);
  const double u = std::log(std::clamp(rate, .01, .5));
  const double eps = .410 - .0842 * u - .0391 * std::pow(u, 3) - .00376 * std::pow(u, 4) -
                     .000008 * std::pow(u, 7);
  return std::max(1.0, (x / r - eps * std::sqrt(rate * (1 - rate))) * steps.per_hit);
}

ChartDesign DesignChart(double rate, double odds_ratio, double target) {
  assert(rate >= .005 && rate <= .61 && target >= 1 && target <= 1e8);
  ChartDesign design;
  design.rate = rate;
  design.odds_ratio = odds_ratio;
  design.steps = ChooseSteps(rate, odds_ratio);
  design.alarm_level = LevelFor(design.steps, rate, target);
  design.warning_level = LevelFor(design.steps, rate, target / 10);
  design.clear_level =
      static_cast<int>(std::ceil(kClearEvidence * design.steps.per_hit / std::log(odds_ratio)));
  design.orders_to_false_alarm = OrdersToAlarm(design.steps, design.alarm_level, rate);
  design.orders_to_hear =
      OrdersToAlarm(design.steps, design.alarm_level, WorsenedRate(rate, odds_ratio));
  return design;
}

const ChartDesign& ChartDesigns::For(double rate, double odds_ratio, double target) {
  const auto place = [](double steps) { return static_cast<int>(std::ceil(steps - kRounding)); };
  const int rate_place = place(std::log(rate / kLeastDesignRate) / std::log(kRateGrid));
  const int target_place = place(kTargetsPerDecade * std::log10(target / kLeastTarget));
  assert(rate_place >= 0 && target_place >= 0);
  const auto [at, is_new] = designs_.try_emplace({rate_place, odds_ratio, target_place});
  if (is_new) {
    at->second = DesignChart(kLeastDesignRate * std::pow(kRateGrid, rate_place), odds_ratio,
                             kLeastTarget * std::pow(10, target_place / kTargetsPerDecade));
  }
  return at->second;
}

}  // namespace plumblane
