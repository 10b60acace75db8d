// Shares of orders by rule, one property of the header at a time, and picks by them.
#include "ranking/shares.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <string>

#include "base/philox.h"

namespace plumblane {
namespace {

using ::testing::DoubleNear;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::Pointwise;

// Late one order in ten, a late one costs 400: expected `cost`, and uncertain.
CostBelief About(double cost, double orders = 50) {
  return {cost - 40, 400, 0, {orders / 10, orders * 9 / 10}, {}};
}

const ShareRules kTrials{.trials = true};
// A cap that never binds.
ShareRules Free(double orders_a_day = 0) {
  return {.trials = true, .orders_a_day = orders_a_day, .most_share = 1};
}

double Others(const std::vector<double>& shares, size_t best) {
  return std::accumulate(shares.begin(), shares.end(), 0.0) - shares[best];
}

TEST(Shares, WithoutTrialsTheLowestExpectedCostGetsAll) {
  EXPECT_THAT(SharesToGive(std::vector{About(1010), About(1000), About(1001)}, {}),
              ElementsAre(0, 1, 0));
  // Not the likeliest to be cheapest: less is known of it, and its cost is skewed.
  EXPECT_THAT(SharesToGive(std::vector{About(1000), About(1005, 2)}, {}), ElementsAre(1, 0));
  EXPECT_THAT(SharesToGive(std::vector{About(1000), About(1000)}, {}), ElementsAre(1, 0));
}

TEST(Shares, WithTrialsAreTheSharpenedChancesOfWhoIsNear) {
  // Standard deviations: 16.8, 16.8, 16.8 and 49.
  const std::vector<CostBelief> beliefs = {About(1003), About(1000), About(1004), About(1007, 5)};
  const std::vector<double> chances = ChancesOfCheapest(beliefs, kSharpening);
  EXPECT_NEAR(beliefs[0].StandardDeviation(), 16.8, .1);
  EXPECT_NEAR(beliefs[3].StandardDeviation(), 49, .1);
  const std::vector<double> shares = SharesToGive(beliefs, Free());
  EXPECT_EQ(shares[0], chances[0]);
  EXPECT_EQ(shares[2], 0);
  EXPECT_EQ(shares[3], chances[3]);
  EXPECT_NEAR(shares[1], chances[1] + chances[2], 1e-12);
}

TEST(Shares, OfOneAloneIsAll) {
  EXPECT_THAT(SharesToGive(std::vector{About(1000)}, kTrials), ElementsAre(1));
  EXPECT_THAT(SharesToGive(std::vector{CostBelief{5, 0, 0, {}, {}}}, Free(1)), ElementsAre(1));
}

TEST(Shares, OthersGetAtMostTheMostShareInTheirProportion) {
  const std::vector<CostBelief> beliefs = {About(1002), About(1000), About(1003)};
  const std::vector<double> chances = ChancesOfCheapest(beliefs, kSharpening);
  ASSERT_GT(Others(chances, 1), .3);
  for (const double most : {0.0, .1, .25}) {
    ShareRules rules = kTrials;
    rules.most_share = most;
    const std::vector<double> shares = SharesToGive(beliefs, rules);
    EXPECT_NEAR(Others(shares, 1), most, 1e-12);
    EXPECT_NEAR(shares[0] * chances[2], shares[2] * chances[0], 1e-12);
  }
}

TEST(Shares, EqualsThatAreNotTheFirstAreOthersToo) {
  EXPECT_THAT(SharesToGive(std::vector(3, About(1000)), kTrials),
              ElementsAre(DoubleNear(.8, 1e-9), DoubleNear(.1, 1e-9), DoubleNear(.1, 1e-9)));
}

// A floor keeps kLiveWeight orders' worth of evidence: given r orders a day that halve in weight
// every h days, r h / ln 2 are kept.
TEST(Shares, NoneFallsBelowAFloorThatKeepsItAlive) {
  // The last one is not near, but its interval reaches below the best's high end.
  const std::vector<CostBelief> beliefs = {About(1000, 500), About(1010, 60)};
  for (const double half_life : {20.0, 45.0}) {
    ShareRules rules = Free(10);
    rules.half_life_days = half_life;
    const double share = SharesToGive(beliefs, rules)[1];
    EXPECT_NEAR(10 * share * half_life / std::log(2), kLiveWeight, 1e-9);
  }
  EXPECT_EQ(SharesToGive(beliefs, Free(0))[1], 0);  // how many orders there are is not known
}

TEST(Shares, FloorsCostAtMostTheirBudgetTogetherAndAChanceIsNeverLowered) {
  const std::vector<CostBelief> beliefs = {About(1000), About(1002), About(1020), About(1050, 60)};
  const std::vector<double> chances = ChancesOfCheapest(beliefs, kSharpening);
  // One order in two days: the floors would be 15 % each.
  const std::vector<double> shares = SharesToGive(beliefs, Free(.5));
  EXPECT_NEAR(20 * shares[2] + 50 * shares[3], kFloorBudget * 1000, 1e-9);
  EXPECT_NEAR(shares[2], shares[3], 1e-12);
  EXPECT_EQ(shares[1], std::max(chances[1], kLiveWeight * std::log(2) / 45 / .5));
  // Free of charge, there is no floor: nothing can be spent.
  const std::vector<CostBelief> free = {{-40, 400, 0, {5, 45}, {}}, {-20, 400, 0, {5, 45}, {}}};
  EXPECT_EQ(SharesToGive(free, Free(.5))[1], 0);
}

TEST(Shares, TheCapHoldsForFloorsToo) {
  // One order a month among all: the floors alone would be more than everything.
  ShareRules rules = kTrials;
  rules.orders_a_day = 1.0 / 30;
  const std::vector<CostBelief> beliefs = {About(1000), About(1001), About(1001.5)};
  const std::vector<double> few = SharesToGive(beliefs, rules);
  EXPECT_NEAR(Others(few, 0), rules.most_share, 1e-12);
  EXPECT_NEAR(few[1], few[2], 1e-12);
}

TEST(Shares, OthersCostAtMostSoMuchMoreOnAverage) {
  const std::vector<CostBelief> beliefs = {About(1000), About(1003, 10), About(1004, 5)};
  const auto more_cost = [&](const std::vector<double>& shares) {
    double more = 0;
    for (size_t i = 0; i < 3; ++i) more += shares[i] * (beliefs[i].Expected() - 1000);
    return more;
  };
  ShareRules rules = Free(10);
  const double free = more_cost(SharesToGive(beliefs, rules));
  ASSERT_GT(free, .3);
  for (const double most : {0.0, .2, free}) {
    rules.most_cost = most;
    EXPECT_NEAR(more_cost(SharesToGive(beliefs, rules)), most, 1e-9);
  }
  rules.most_cost = 2 * free;
  EXPECT_NEAR(more_cost(SharesToGive(beliefs, rules)), free, 1e-9);
}

TEST(Shares, OneSurelyDearerGetsNothingNotEvenAFloor) {
  const CostBelief best = About(1000);
  const double high = QuantileOf(best, .975);
  // By its low limit, from far below to far above the high limit of the best.
  for (const double orders : {5.0, 50.0, 5000.0}) {
    const double low = QuantileOf(About(0, orders), .025);
    for (const double distance : {-30.0, -1.0, 1.0, 30.0, 1e6}) {
      const std::vector<double> shares =
          SharesToGive(std::vector{best, About(high - low + distance, orders)}, Free(5));
      EXPECT_EQ(shares[1] > 0, distance < 0) << orders << ", " << distance;
    }
  }
}

TEST(Shares, SumToOneAndTheBestHasWhatTheOthersLeave) {
  for (uint64_t round = 0; round < 200; ++round) {
    uint64_t draw = 0;
    const auto uniform = [&] { return Uniform(5, round, draw++); };
    std::vector<CostBelief> beliefs(1 + static_cast<size_t>(uniform() * 9));
    for (CostBelief& belief : beliefs) {
      belief = {1000 + 30 * uniform(),
                400 * uniform(),
                1500 * uniform(),
                {.1 + 20 * uniform(), 1 + 200 * uniform()},
                {.05 + uniform(), 1 + 100 * uniform()}};
    }
    ShareRules rules{.trials = true, .orders_a_day = 10 * uniform(), .most_share = uniform()};
    if (uniform() < .5) rules.most_cost = 5 * uniform();
    const std::vector<double> shares = SharesToGive(beliefs, rules);
    const auto best = static_cast<size_t>(
        std::min_element(beliefs.begin(), beliefs.end(),
                         [](const auto& a, const auto& b) { return a.Expected() < b.Expected(); }) -
        beliefs.begin());
    EXPECT_THAT(shares, Each(::testing::Ge(0)));
    EXPECT_NEAR(std::accumulate(shares.begin(), shares.end(), 0.0), 1, 1e-12);
    EXPECT_LE(Others(shares, best), rules.most_share + 1e-12);
  }
}

TEST(Pick, ComesAsOftenAsItsShareAndNeverWithoutOne) {
  const std::vector<double> shares = {0, .5, 0, .3, .15, .05, 0};
  constexpr int kPicks = 100'000;
  std::vector<double> found(shares.size());
  for (int i = 0; i < kPicks; ++i) {
    found[PickByShare(shares, "order-" + std::to_string(i))] += 1.0 / kPicks;
  }
  for (size_t i = 0; i < shares.size(); ++i) {
    // Five standard errors; exactly none of those without a share.
    EXPECT_NEAR(found[i], shares[i], 5 * std::sqrt(shares[i] * (1 - shares[i]) / kPicks)) << i;
  }
}

TEST(Pick, DependsOnTheProportionOfSharesAlone) {
  const std::vector<double> shares = {.2, .3, .5}, amounts = {2, 3, 5};
  for (int i = 0; i < 1000; ++i) {
    const std::string key = std::to_string(i);
    EXPECT_EQ(PickByShare(shares, key), PickByShare(amounts, key));
  }
  for (const char* key : {"", "a", "b", "c"}) {
    EXPECT_EQ(PickByShare(std::vector{0.0, 1e-300, 0.0}, key), 1u);
  }
}

// Picks are on record: they must come out the same in every version and on every machine.
TEST(Pick, OfTheseKeysIsWhatItAlwaysWas) {
  const std::vector<double> shares(10, .1);
  std::vector<size_t> picks;
  for (const char* key : {"", "a", "order-1", "order-2", "order-3", "8842 shop.example", "ø"}) {
    picks.push_back(PickByShare(shares, key));
  }
  EXPECT_THAT(picks, ElementsAre(5, 8, 7, 3, 5, 7, 9));
}

// Horizontal Merger Guidelines of the US Department of Justice and the Federal Trade Commission
// (2010), section 5.3: four firms with 30, 30, 20 and 20 percent have 2,600.
TEST(Concentration, IsThatOfTheGuidelines) {
  EXPECT_NEAR(ConcentrationIndex(std::vector{30.0, 30.0, 20.0, 20.0}), 2600, 1e-9);
  EXPECT_NEAR(ConcentrationIndex(std::vector{.3, 0.0, .3, .2, .2}), 2600, 1e-9);
  EXPECT_NEAR(ConcentrationIndex(std::vector{17.0}), 10'000, 1e-9);
  EXPECT_NEAR(ConcentrationIndex(std::vector<double>(8, 3)), 1250, 1e-9);
  EXPECT_EQ(ConcentrationIndex(std::vector<double>{}), 0);
  EXPECT_EQ(ConcentrationIndex(std::vector{0.0, 0.0}), 0);
}

}  // namespace
}  // namespace plumblane
