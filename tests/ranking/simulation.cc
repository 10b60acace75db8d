#include "ranking/simulation.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "base/philox.h"

namespace plumblane::simulation {
namespace {

constexpr size_t kSuppliers = 4;
constexpr int kDays = 150, kChangeDay = 50, kDelayDays = 4;
constexpr double kLateCost = 4, kBadCost = 12;
constexpr std::array<double, kSuppliers> kPrices = {10, 9.5, 9.8, 9};
// What is believed before the first order: near the means over the four, worth four orders.
constexpr Beta kLatePrior{.125 * 4, .875 * 4}, kBadPrior{.025 * 4, .975 * 4};

using Fleet = std::array<Rates, kSuppliers>;
constexpr Fleet kFleet = {{{.05, .01}, {.12, .02}, {.08, .015}, {.25, .05}}};
constexpr Rates kTurnedBad{.3, .07}, kTurnedBest{.03, .01};

using Amounts = std::array<double, kSuppliers>;

Amounts CostsOf(const Fleet& fleet, double stakes) {
  Amounts costs;
  for (size_t i = 0; i < kSuppliers; ++i) {
    costs[i] = kPrices[i] + stakes * (kLateCost * fleet[i].late + kBadCost * fleet[i].bad);
  }
  return costs;
}

size_t Least(const Amounts& amounts) {
  return static_cast<size_t>(std::min_element(amounts.begin(), amounts.end()) - amounts.begin());
}

Fleet FleetOf(const Scenario& scenario, int day) {
  Fleet fleet = kFleet;
  if (scenario.changes && day >= kChangeDay) fleet[*scenario.changes] = scenario.to;
  return fleet;
}

struct Seen {
  double orders = 0, late = 0, bad = 0;
};
using History = std::array<Seen, kSuppliers>;

Beta Posterior(const Beta& prior, double hits, double orders) {
  return {prior.a + hits, prior.b + orders - hits};
}

std::vector<CostBelief> BeliefsOf(const History& history, double stakes) {
  std::vector<CostBelief> beliefs;
  for (size_t i = 0; i < kSuppliers; ++i) {
    const Seen& seen = history[i];
    beliefs.push_back({kPrices[i], stakes * kLateCost, stakes * kBadCost,
                       Posterior(kLatePrior, seen.late, seen.orders),
                       Posterior(kBadPrior, seen.bad, seen.orders)});
  }
  return beliefs;
}

std::vector<double> All(size_t best, double others = 0) {
  std::vector<double> shares(kSuppliers, others);
  shares[best] = 1 - others * (kSuppliers - 1);
  return shares;
}

std::vector<double> SharesOf(const Rule& rule, const std::vector<CostBelief>& beliefs) {
  Amounts expected, bad;
  for (size_t i = 0; i < kSuppliers; ++i) {
    expected[i] = beliefs[i].Expected();
    // Among equals, as all are at first, the cheaper.
    bad[i] = 1 - (1 - beliefs[i].late.Mean()) * (1 - beliefs[i].bad.Mean()) + 1e-9 * kPrices[i];
  }
  ShareRules shares{.trials = true, .orders_a_day = kOrdersADay};
  if (rule.half_life_days > 0) {
    shares.half_life_days = rule.half_life_days;
  } else {
    shares.orders_a_day = 0;  // no decay, no floor
  }
  switch (rule.choice) {
    case Choice::kUniform:
      return std::vector<double>(kSuppliers, 1.0 / kSuppliers);
    case Choice::kCheapestQuote:
      return All(Least(kPrices));
    case Choice::kBestLifetimeRate:
      return All(Least(bad));
    case Choice::kLowestCost:
      return All(Least(expected));
    case Choice::kLowestCostWithFloor:
      return All(Least(expected), .02);
    case Choice::kChances:
      return ChancesOfCheapest(beliefs);
    case Choice::kSharpenedChances:
      return ChancesOfCheapest(beliefs, kSharpening);
    case Choice::kShares:
      return SharesToGive(beliefs, shares);
  }
  return {};
}

}  // namespace

std::vector<Scenario> Scenarios() {
  return {{"x1 steady", 1},
          {"x1 best bad", 1, 1, kTurnedBad},
          {"x1 worst best", 1, 3, kTurnedBest},
          {"x4 steady", 4},
          {"x4 best bad", 4, 0, kTurnedBad},
          {"x4 third bad", 4, 1, kTurnedBad},
          {"x4 worst best", 4, 3, kTurnedBest}};
}

Outcome Run(const Scenario& scenario, const Rule& rule, uint64_t seed) {
  const double kept =
      rule.half_life_days > 0 ? std::exp2(-1 / rule.half_life_days) : 1;  // of a day's weight
  std::vector<History> days;  // how the orders of a day came out
  History known;
  Outcome outcome;
  for (int day = 0; day < kDays; ++day) {
    for (size_t i = 0; i < kSuppliers; ++i) {
      const Seen news = day >= kDelayDays ? days[static_cast<size_t>(day - kDelayDays)][i] : Seen{};
      const double weight = std::pow(kept, kDelayDays);
      known[i] = {known[i].orders * kept + weight * news.orders,
                  known[i].late * kept + weight * news.late,
                  known[i].bad * kept + weight * news.bad};
    }
    const std::vector<CostBelief> beliefs = BeliefsOf(known, scenario.stakes);
    const std::vector<double> shares = SharesOf(rule, beliefs);
    Amounts expected;
    for (size_t i = 0; i < kSuppliers; ++i) expected[i] = beliefs[i].Expected();
    const Fleet fleet = FleetOf(scenario, day);
    const Amounts costs = CostsOf(fleet, scenario.stakes);
    History& today = days.emplace_back();
    for (int number = day * kOrdersADay; number < (day + 1) * kOrdersADay; ++number) {
      const size_t pick =
          PickByShare(shares, std::to_string(seed) + " order " + std::to_string(number));
      outcome.regret += costs[pick] - costs[Least(costs)];
      outcome.trial_share += pick == Least(expected) ? 0 : 1.0 / (kDays * kOrdersADay);
      const auto draw = static_cast<uint64_t>(2 * number);
      today[pick].orders += 1;
      today[pick].late += Uniform(seed, pick, draw) < fleet[pick].late ? 1 : 0;
      today[pick].bad += Uniform(seed, pick, draw + 1) < fleet[pick].bad ? 1 : 0;
    }
  }
  return outcome;
}

Mean MeanOf(const Scenario& scenario, const Rule& rule, int seeds) {
  Mean mean;
  double squares = 0;
  for (int seed = 0; seed < seeds; ++seed) {
    const Outcome outcome = Run(scenario, rule, static_cast<uint64_t>(seed));
    mean.regret += outcome.regret / seeds;
    mean.trial_share += outcome.trial_share / seeds;
    squares += outcome.regret * outcome.regret / seeds;
  }
  mean.error = std::sqrt(std::max(0.0, squares - mean.regret * mean.regret) / (seeds - 1));
  return mean;
}

}  // namespace plumblane::simulation
