#include "ranking/shares.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <numeric>

#include "base/hash.h"
#include "base/philox.h"

namespace plumblane {
namespace {

constexpr double kTail = (1 - kIntervalLevel) / 2;

// Whether its low limit exceeds a cost.
bool IsAbove(const CostBelief& belief, double cost) {
  // Far from its mean Cantelli's inequality tells, without a distribution.
  const double distance = belief.Expected() - cost, sd = belief.StandardDeviation();
  const double at_most = sd * sd / (sd * sd + distance * distance);
  if (distance > 0 && at_most < kTail) return true;
  if (distance < 0 && at_most < 1 - kTail) return false;
  return ChanceAtMost(belief, cost) < kTail;
}

}  // namespace

std::vector<double> SharesToGive(std::span<const CostBelief> beliefs, const ShareRules& rules) {
  assert(!beliefs.empty() && rules.orders_a_day >= 0 && rules.half_life_days > 0);
  assert(rules.most_share >= 0 && rules.most_share <= 1 && rules.most_cost.value_or(0) >= 0);
  const auto cheaper = [](const CostBelief& a, const CostBelief& b) {
    return a.Expected() < b.Expected();
  };
  const auto best = static_cast<size_t>(std::min_element(beliefs.begin(), beliefs.end(), cheaper) -
                                        beliefs.begin());
  std::vector<double> shares(beliefs.size());
  if (rules.trials && beliefs.size() > 1) {
    const std::vector<double> chances = ChancesOfCheapest(beliefs, kSharpening);
    const auto dearer = [&](size_t i) { return beliefs[i].Expected() - beliefs[best].Expected(); };
    const auto is_near = [&](size_t i) {
      return dearer(i) <=
             kReach * std::hypot(beliefs[i].StandardDeviation(), beliefs[best].StandardDeviation());
    };
    const double high = QuantileOf(beliefs[best], 1 - kTail);
    const double floor = rules.orders_a_day > 0 ? kLiveWeight * std::numbers::ln2 /
                                                      rules.half_life_days / rules.orders_a_day
                                                : 0;
    double floors_cost = 0;
    for (size_t i = 0; i < beliefs.size(); ++i) {
      if (i == best || IsAbove(beliefs[i], high)) continue;
      shares[i] = is_near(i) ? std::max(chances[i], floor) : floor;
      if (!is_near(i)) floors_cost += floor * dearer(i);
    }
    const double budget = kFloorBudget * std::max(0.0, beliefs[best].Expected());
    double others = 0, more_cost = 0;
    for (size_t i = 0; i < beliefs.size(); ++i) {
      if (shares[i] == 0) continue;
      if (!is_near(i) && floors_cost > budget) shares[i] *= budget / floors_cost;
      others += shares[i];
      more_cost += shares[i] * dearer(i);
    }
    double scale = others > rules.most_share ? rules.most_share / others : 1;
    if (rules.most_cost && more_cost * scale > *rules.most_cost)
      scale = *rules.most_cost / more_cost;
    for (double& share : shares) share *= scale;
  }
  shares[best] = std::max(0.0, 1 - std::accumulate(shares.begin(), shares.end(), 0.0));
  return shares;
}

size_t PickByShare(std::span<const double> shares, std::string_view key) {
  StableHash hash;
  hash.Text(key);
  double left = Uniform(hash.value(), 0, 0) * std::accumulate(shares.begin(), shares.end(), 0.0);
  size_t pick = shares.size();
  for (size_t i = 0; i < shares.size() && left >= 0; ++i) {
    assert(shares[i] >= 0);
    if (shares[i] == 0) continue;
    pick = i;
    left -= shares[i];
  }
  assert(pick < shares.size());
  return pick;
}

double ConcentrationIndex(std::span<const double> amounts) {
  const double sum = std::accumulate(amounts.begin(), amounts.end(), 0.0);
  if (sum == 0) return 0;
  double index = 0;
  for (const double amount : amounts) {
    assert(amount >= 0);
    index += (100 * amount / sum) * (100 * amount / sum);
  }
  return index;
}

}  // namespace plumblane
