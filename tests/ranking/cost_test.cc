// Costs believed of suppliers against exact values and against draws: every rate by its inverse
// distribution function at 4,096 middles of equal probability, chosen by counted random numbers.
#include "ranking/cost.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>
#include <tuple>

#include "base/philox.h"

namespace plumblane {
namespace {

using ::testing::DoubleNear;
using ::testing::ElementsAre;
using ::testing::Pointwise;

// One uncertain rate as the whole cost.
CostBelief Rate(double a, double b) { return {0, 1, 0, {a, b}, {}}; }
CostBelief Certain(double cost) { return {cost, 0, 0, {}, {}}; }

// Of the three suppliers A, B and C of the checks C4 to C6.
const std::vector<CostBelief> kThree = {{1000, 400, 1500, {6, 94}, {1.5, 98.5}},
                                        {980, 400, 1500, {12, 88}, {2.5, 97.5}},
                                        {990, 400, 1500, {1, 9}, {.5, 24.5}}};

class Draws {
 public:
  explicit Draws(const Beta& rate) {
    for (size_t i = 0; i < kMiddles; ++i) {
      quantiles_[i] = rate.Quantile((static_cast<double>(i) + .5) / kMiddles);
    }
  }
  double At(double uniform) const { return quantiles_[static_cast<size_t>(uniform * kMiddles)]; }

 private:
  static constexpr size_t kMiddles = 4096;
  std::array<double, kMiddles> quantiles_;
};

class CostDraws {
 public:
  explicit CostDraws(const CostBelief& belief)
      : belief_(belief), late_(belief.late), bad_(belief.bad) {}
  double At(uint64_t candidate, uint64_t draw) const {
    return belief_.fixed + belief_.per_late * late_.At(Uniform(20261125, 2 * candidate, draw)) +
           belief_.per_bad * bad_.At(Uniform(20261125, 2 * candidate + 1, draw));
  }

 private:
  CostBelief belief_;
  Draws late_, bad_;
};

std::vector<double> ChancesByDraws(const std::vector<CostBelief>& beliefs, int count) {
  std::vector<CostDraws> costs(beliefs.begin(), beliefs.end());
  std::vector<double> chances(beliefs.size());
  for (int draw = 0; draw < count; ++draw) {
    size_t best = 0;
    double least = std::numeric_limits<double>::infinity();
    for (size_t i = 0; i < costs.size(); ++i) {
      const double cost = costs[i].At(i, static_cast<uint64_t>(draw));
      if (cost < least) std::tie(least, best) = std::pair(cost, i);
    }
    chances[best] += 1.0 / count;
  }
  return chances;
}

// From 2 to 8 candidates near each other, some rates known, some with parameters as extreme as they
// get; the number of the table decides.
std::vector<CostBelief> RandomTable(uint64_t number) {
  constexpr double kHits[] = {.05, .2, .4, 1, 1.5, 3, 8, 40, 1e3, 1e6};
  uint64_t draw = 0;
  const auto uniform = [&] { return Uniform(7, number, draw++); };
  const auto rate = [&](double least, double most) {
    const double hits = kHits[static_cast<size_t>(uniform() * std::size(kHits))];
    const double mean = least + (most - least) * uniform() * uniform();
    return Beta{hits, hits * (1 - mean) / mean};
  };
  std::vector<CostBelief> beliefs(2 + static_cast<size_t>(uniform() * 7));
  for (CostBelief& belief : beliefs) {
    belief.fixed = 1000 + 100 * uniform();
    belief.per_late = uniform() < .15 ? 0 : 400 * uniform();
    belief.per_bad = uniform() < .15 ? 0 : 1500 * uniform();
    belief.late = rate(.02, .32);
    belief.bad = rate(.005, .105);
  }
  return beliefs;
}

double Sum(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0);
}

struct TwoRates {
  double a, b, c, d, chance;  // P(Beta(a, b) > Beta(c, d))
};
class ExactChances : public ::testing::TestWithParam<TwoRates> {};

// The first: 9/5 - 1, by hand. The next three: the sum over whole parameters in E. Miller,
// "Formulas for Bayesian A/B Testing", computed in R and equal to quadrature. The last two: two
// quadratures in R, and symmetry.
INSTANTIATE_TEST_SUITE_P(Cost, ExactChances,
                         ::testing::Values(TwoRates{3, 1, 2, 2, .8},
                                           TwoRates{146, 856, 121, 881, .950196907617},
                                           TwoRates{45, 5, 20, 4, .780489243287},
                                           TwoRates{2, 30, 3, 17, .14726443769},
                                           TwoRates{8.25, 91.75, 12.4, 87.6, .162053129259},
                                           TwoRates{.05, .05, .05, .05, .5}));

TEST_P(ExactChances, OfTwoRates) {
  const TwoRates& two = GetParam();
  EXPECT_THAT(ChancesOfCheapest(std::vector{Rate(two.c, two.d), Rate(two.a, two.b)}),
              Pointwise(DoubleNear(.0006), {two.chance, 1 - two.chance}));
}

// E = fixed + sum of c a / (a + b), Var = sum of c^2 a b / ((a + b)^2 (a + b + 1)); computed in R.
TEST(Cost, MeanAndSpread) {
  const double expected[] = {1046.5, 1065.5, 1060}, sd[] = {20.45709105, 26.65135183, 54.82011269};
  for (size_t i = 0; i < 3; ++i) {
    EXPECT_DOUBLE_EQ(kThree[i].Expected(), expected[i]);
    EXPECT_NEAR(kThree[i].StandardDeviation(), sd[i], 1e-8);
  }
}

// 4,000,000 draws in R: the third is not the best on average, yet the likeliest to be cheapest.
TEST(Cost, ChancesOfThree) {
  EXPECT_THAT(ChancesOfCheapest(kThree), Pointwise(DoubleNear(.002), {.4113, .1465, .4422}));
  EXPECT_NEAR(ChancesOfCheapest(std::vector{kThree[0], kThree[1]})[0], .7238, .002);
}

TEST(Cost, ChancesAreThoseOfDraws) {
  for (uint64_t number = 0; number < 30; ++number) {
    const std::vector<CostBelief> table = RandomTable(number);
    const std::vector<double> chances = ChancesOfCheapest(table);
    EXPECT_NEAR(Sum(chances), 1, 1e-12);
    // Of which up to .003 is the noise of the draws: three standard errors.
    EXPECT_THAT(chances, Pointwise(DoubleNear(.005), ChancesByDraws(table, 300'000))) << number;
  }
}

TEST(Cost, NeitherTheirOrderNorACostThatAllHaveMatters) {
  for (uint64_t number = 0; number < 40; ++number) {
    std::vector<CostBelief> table = RandomTable(number);
    std::vector<double> chances = ChancesOfCheapest(table, 4);
    for (CostBelief& belief : table) belief.fixed += 1e5;
    EXPECT_THAT(ChancesOfCheapest(table, 4), Pointwise(DoubleNear(1e-6), chances)) << number;
    std::reverse(table.begin(), table.end());
    std::reverse(chances.begin(), chances.end());
    EXPECT_THAT(ChancesOfCheapest(table, 4), Pointwise(DoubleNear(1e-6), chances)) << number;
  }
}

TEST(Cost, SharpeningMultipliesTheParameters) {
  std::vector<CostBelief> sharper = kThree;
  for (CostBelief& belief : sharper) {
    belief.late = {3 * belief.late.a, 3 * belief.late.b};
    belief.bad = {3 * belief.bad.a, 3 * belief.bad.b};
  }
  EXPECT_EQ(ChancesOfCheapest(kThree, 3), ChancesOfCheapest(sharper));
}

TEST(Cost, EqualsShareEqually) {
  for (const CostBelief& belief : {kThree[0], kThree[2], Certain(7), Rate(.05, .05), Rate(1e6, 9e6),
                                   CostBelief{5, 1e-9, 0, {1, 9}, {}}}) {
    EXPECT_THAT(ChancesOfCheapest(std::vector(5, belief)),
                Pointwise(DoubleNear(1e-12), std::vector(5, .2)));
  }
}

TEST(Cost, OneAloneIsCheapest) {
  EXPECT_THAT(ChancesOfCheapest(std::vector{kThree[0]}), ElementsAre(1));
  EXPECT_THAT(ChancesOfCheapest(std::vector{Certain(-3)}), ElementsAre(1));
}

TEST(Cost, OfCertainCostsTheLowestWinsHoweverNear) {
  EXPECT_THAT(ChancesOfCheapest(std::vector{Certain(1000.01), Certain(1000), Certain(1e9)}),
              ElementsAre(0, 1, 0));
  // Also beside one that is uncertain over a range 100,000 times their distance.
  const std::vector<double> chances =
      ChancesOfCheapest(std::vector{Certain(1000.01), Certain(1000), {500, 1000, 0, {2, 2}, {}}});
  EXPECT_THAT(chances,
              ElementsAre(DoubleNear(0, 1e-12), DoubleNear(.5, .001), DoubleNear(.5, .001)));
}

TEST(Cost, ACertainCostIsCheapestAsOftenAsTheOtherIsDearer) {
  for (const Beta& rate : {Beta{2, 38}, Beta{.4, 3.6}, Beta{30, 70}, Beta{1e6, 9e6}}) {
    for (const double p : {.05, .3, .8}) {
      const std::vector<CostBelief> table = {{100, 1000, 0, rate, {}},
                                             Certain(100 + 1000 * rate.Quantile(p))};
      EXPECT_NEAR(ChancesOfCheapest(table)[0], p, .005) << rate.a << ", " << p;
    }
  }
}

TEST(Cost, WhoCannotBeCheapestChangesNothing) {
  std::vector<CostBelief> table = kThree;
  table.push_back({3000, 400, 1500, {6, 94}, {1.5, 98.5}});
  table.push_back(Certain(1e12));
  std::vector<double> expected = ChancesOfCheapest(kThree);
  expected.resize(5);
  EXPECT_EQ(ChancesOfCheapest(table), expected);
}

// Against draws in order of size. Compared as probabilities: of the draws, the part below must be
// p; where many draws are all but equal, either side of them will do.
TEST(Cost, QuantilesAreThoseOfDraws) {
  constexpr size_t kCount = 100'000;
  for (uint64_t number = 0; number < 30; ++number) {
    const CostBelief belief = RandomTable(number)[0];
    const CostDraws draws(belief);
    std::vector<double> costs(kCount);
    for (size_t i = 0; i < kCount; ++i) costs[i] = draws.At(0, i);
    std::sort(costs.begin(), costs.end());
    const CostQuantiles quantiles = QuantilesOf(belief);
    EXPECT_GE(quantiles.low, belief.fixed);
    for (const auto& [cost, p] : std::map<double, double>{
             {quantiles.low, .05}, {quantiles.median, .5}, {quantiles.high, .95}}) {
      const double near = 1e-3 * (costs[kCount - kCount / 20] - belief.fixed) + 1e-9;
      const auto below = std::lower_bound(costs.begin(), costs.end(), cost - near);
      const auto above = std::upper_bound(costs.begin(), costs.end(), cost + near);
      EXPECT_LT(static_cast<double>(below - costs.begin()) / kCount, p + .005) << number;
      EXPECT_GT(static_cast<double>(above - costs.begin()) / kCount, p - .005) << number;
    }
  }
}

TEST(Cost, AnAmountAtAQuantileIsNotExceededSoOften) {
  for (const CostBelief& belief : kThree) {
    for (const double p : {.025, .3, .975}) {
      EXPECT_NEAR(ChanceAtMost(belief, QuantileOf(belief, p)), p, .003) << p;
    }
    EXPECT_EQ(ChanceAtMost(belief, belief.fixed - 1), 0);
    EXPECT_EQ(ChanceAtMost(belief, belief.fixed + 1900), 1);
  }
  EXPECT_EQ(ChanceAtMost(Certain(7), 6.99), 0);
  EXPECT_EQ(ChanceAtMost(Certain(7), 7), 1);
  EXPECT_NEAR(QuantileOf(Certain(7), .9), 7, 1e-9);
  EXPECT_NEAR(QuantileOf(Rate(3, 1), .5), std::cbrt(.5), .001);  // P(X <= x) = x^3
}

}  // namespace
}  // namespace plumblane
