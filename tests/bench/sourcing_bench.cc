// What each rule of giving orders to suppliers costs more than knowing all along, in simulation.
// Usage: sourcing_bench [seeds]
#include <cstdio>
#include <cstdlib>

#include "ranking/simulation.h"

namespace plumblane::simulation {
namespace {

std::vector<Rule> Rules() {
  std::vector<Rule> rules = {{"uniform", Choice::kUniform},
                             {"cheapest quote", Choice::kCheapestQuote},
                             {"best lifetime rate", Choice::kBestLifetimeRate}};
  // In days of five orders; 45 is what ships.
  for (const double days : {0.0, 45.0}) {
    rules.push_back({"lowest cost", Choice::kLowestCost, days});
    rules.push_back({"lowest cost, 2 % each", Choice::kLowestCostWithFloor, days});
    rules.push_back({"chances", Choice::kChances, days});
    rules.push_back({"chances sharpened", Choice::kSharpenedChances, days});
    rules.push_back({"shares", Choice::kShares, days});
  }
  return rules;
}

void Print(int seeds) {
  const auto scenarios = static_cast<double>(Scenarios().size());
  std::printf("regret of 750 orders, mean (standard error) of %d seeds\n%-23s%10s", seeds, "rule",
              "half-life");
  for (const Scenario& scenario : Scenarios()) std::printf("%15s", scenario.name.c_str());
  std::printf("%8s%8s\n", "mean", "trials");
  for (const Rule& rule : Rules()) {
    const int orders = static_cast<int>(rule.half_life_days * kOrdersADay);
    std::printf("%-23s%10s", rule.name.c_str(), orders > 0 ? std::to_string(orders).c_str() : "-");
    double regret = 0, trials = 0;
    for (const Scenario& scenario : Scenarios()) {
      const Mean mean = MeanOf(scenario, rule, seeds);
      std::printf("%8.0f (%4.1f)", mean.regret, mean.error);
      regret += mean.regret / scenarios;
      trials += mean.trial_share / scenarios;
    }
    std::printf("%8.0f%7.1f%%\n", regret, 100 * trials);
    std::fflush(stdout);
  }
}

}  // namespace
}  // namespace plumblane::simulation

int main(int argc, char** argv) {
  plumblane::simulation::Print(argc > 1 ? std::atoi(argv[1]) : 200);
}
