// What ships against what a shop without it would do, in the simulated fleets of sourcing_bench;
// few seeds, the whole table is in DEVELOPERS.md.
#include "ranking/simulation.h"

#include <gtest/gtest.h>

namespace plumblane::simulation {
namespace {

double MeanRegret(const Rule& rule) {
  constexpr int kSeeds = 12;
  double regret = 0;
  for (const Scenario& scenario : Scenarios()) regret += MeanOf(scenario, rule, kSeeds).regret;
  return regret / static_cast<double>(Scenarios().size());
}

const Rule kShips{"", Choice::kShares, ShareRules{}.half_life_days};

TEST(Simulation, WhatShipsBeatsTheCheapestQuoteAndTheBestLifetimeRateOnAverage) {
  const double ships = MeanRegret(kShips);
  EXPECT_LT(ships, .5 * MeanRegret({"", Choice::kCheapestQuote}));
  EXPECT_LT(ships, MeanRegret({"", Choice::kBestLifetimeRate}));
  EXPECT_LT(ships, MeanRegret({"", Choice::kLowestCost, kShips.half_life_days}));
}

TEST(Simulation, TrialOrdersAreOneInFiveAtMost) {
  for (const Scenario& scenario : Scenarios()) {
    // 750 draws with a share of at most .2: five standard errors of the mean of four runs.
    EXPECT_LT(MeanOf(scenario, kShips, 4).trial_share, .2 + 5 * .4 / 54) << scenario.name;
  }
}

}  // namespace
}  // namespace plumblane::simulation
