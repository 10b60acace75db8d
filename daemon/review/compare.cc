#include "review/compare.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numeric>

namespace plumblane {
namespace {

// std::lgamma writes its sign to a global.
double LogFactorial(int64_t n) {
  int sign = 0;
  return lgamma_r(static_cast<double>(n + 1), &sign);
}

double LogChoose(int64_t n, int64_t k) {
  return LogFactorial(n) - LogFactorial(k) - LogFactorial(n - k);
}

double Square(double x) { return x * x; }

}  // namespace

double ChiSquaredP(const HitCount& first, const HitCount& second) {
  const auto n1 = static_cast<double>(first.orders), n2 = static_cast<double>(second.orders);
  const auto hits = static_cast<double>(first.hits + second.hits);
  const double n = n1 + n2, misses = n - hits;
  if (hits == 0 || misses == 0) return 1;
  const double cross = static_cast<double>(first.hits) * n2 - static_cast<double>(second.hits) * n1;
  const double chi = (n - 1) * cross * cross / (n1 * n2 * hits * misses);
  return std::erfc(std::sqrt(chi / 2));
}

double FisherIrwinP(const HitCount& first, const HitCount& second) {
  const int64_t n = first.orders + second.orders, hits = first.hits + second.hits;
  const int64_t least = std::max<int64_t>(0, hits - second.orders);
  const int64_t most = std::min(first.orders, hits);
  const double all = LogChoose(n, hits);
  const auto log_chance = [&](int64_t in_first) {
    return LogChoose(first.orders, in_first) + LogChoose(second.orders, hits - in_first) - all;
  };
  // Equally likely tables differ by rounding.
  const double limit = log_chance(first.hits) + 1e-7;
  double p = 0;
  for (int64_t k = least; k <= most; ++k) {
    const double one = log_chance(k);
    if (one <= limit) p += std::exp(one);
  }
  return std::min(p, 1.0);
}

Comparison Compare(const HitCount& first, const HitCount& second) {
  assert(first.orders > 0 && second.orders > 0);
  const auto wilson = [](const HitCount& count) {
    return WilsonLimits(static_cast<double>(count.hits), static_cast<double>(count.orders));
  };
  const double p1 = first.Share(), p2 = second.Share();
  const Interval one = wilson(first), two = wilson(second);
  Comparison comparison;
  comparison.difference = p1 - p2;
  comparison.limits = {
      comparison.difference - std::sqrt(Square(p1 - one.low) + Square(two.high - p2)),
      comparison.difference + std::sqrt(Square(one.high - p1) + Square(p2 - two.low))};
  const double n = static_cast<double>(first.orders + second.orders);
  const auto hits = static_cast<double>(first.hits + second.hits);
  const double fewest_expected =
      static_cast<double>(std::min(first.orders, second.orders)) * std::min(hits, n - hits) / n;
  comparison.p_value =
      fewest_expected >= 1 ? ChiSquaredP(first, second) : FisherIrwinP(first, second);
  return comparison;
}

std::vector<double> AdjustForNumber(std::span<const double> p_values) {
  std::vector<size_t> order(p_values.size());
  std::iota(order.begin(), order.end(), size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](size_t x, size_t y) { return p_values[x] > p_values[y]; });
  std::vector<double> adjusted(p_values.size());
  const auto count = static_cast<double>(p_values.size());
  double least = 1;
  for (size_t i = 0; i < order.size(); ++i) {
    const double rank = count - static_cast<double>(i);
    least = std::min(least, p_values[order[i]] * count / rank);
    adjusted[order[i]] = least;
  }
  return adjusted;
}

}  // namespace plumblane
