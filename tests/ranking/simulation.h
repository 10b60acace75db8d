// A shop that gives its orders to four suppliers by a rule, and what that costs it more than
// knowing all along: for the measurements of sourcing_bench and a test of what ships.
//
// 750 orders, five a day; how an order came out is known four days later. Every morning the shares
// of the day are decided by what is known then. The regret of a run is the sum over its orders of
// what the order costs on average at the supplier it went to, less what it would at the best one of
// that day; so luck with single orders does not count. How an order comes out at a supplier, and
// which order a share picks, depends on the seed and their numbers alone: all rules meet the same
// luck.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "ranking/shares.h"

namespace plumblane::simulation {

struct Rates {
  double late = 0, bad = 0;
};
struct Scenario {
  std::string name;
  double stakes = 1;  // times what late and bad orders cost
  // Which supplier changes at the 250th order, and to what.
  std::optional<size_t> changes = std::nullopt;
  Rates to = {};
};
// Stakes 1 and 4. At stakes 1 supplier 1 is the best and 3 the worst, at stakes 4 supplier 0 is the
// best and 3 the worst.
std::vector<Scenario> Scenarios();

enum class Choice {
  kUniform,
  kCheapestQuote,
  kBestLifetimeRate,     // the smallest share late or bad so far
  kLowestCost,           // expected
  kLowestCostWithFloor,  // the others get 2 % each
  kChances,              // of being cheapest: Thompson sampling
  kSharpenedChances,
  kShares,  // SharesToGive with the defaults and trials
};

struct Rule {
  std::string name;
  Choice choice = Choice::kUniform;
  double half_life_days = 0;  // 0 = everything counts in full, for ever
};

struct Outcome {
  double regret = 0;
  double trial_share = 0;  // of orders not given to the lowest expected cost
};
Outcome Run(const Scenario& scenario, const Rule& rule, uint64_t seed);

struct Mean {
  double regret = 0, error = 0, trial_share = 0;  // error: the standard error of the regret
};
Mean MeanOf(const Scenario& scenario, const Rule& rule, int seeds);

inline constexpr int kOrdersADay = 5;

}  // namespace plumblane::simulation
