// The weighted Kaplan-Meier curve, its jackknife variance and its quantiles, against published
// examples; more digits, and everything weighted, from R 4.2.2 (survival 3.5-3).
#include "scoring/curve.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "scoring/decay.h"
#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

using naive::Life;

Curve CurveOf(const std::vector<Life>& lives) {
  RiskSet risk(400);
  for (const Life& life : lives) {
    const auto bucket = static_cast<uint32_t>(life.last);
    if (life.event) {
      risk.AddEvents(bucket, 1, life.weight);
    } else {
      risk.AddCensored(bucket, 1, life.weight);
    }
  }
  return risk.Estimate();
}

std::vector<Life> Lives(const std::vector<int>& events, const std::vector<int>& censored) {
  std::vector<Life> lives;
  for (const int time : events) lives.push_back({time, true, 1});
  for (const int time : censored) lives.push_back({time, false, 1});
  return lives;
}

std::vector<double> Survivals(const Curve& curve) {
  std::vector<double> survivals;
  for (const CurveStep& step : curve.steps) survivals.push_back(step.survival);
  return survivals;
}

std::vector<double> StandardErrors(const Curve& curve) {
  std::vector<double> errors;
  for (const CurveStep& step : curve.steps) errors.push_back(step.survival * step.spread);
  return errors;
}

std::vector<uint32_t> Buckets(const Curve& curve) {
  std::vector<uint32_t> buckets;
  for (const CurveStep& step : curve.steps) buckets.push_back(step.bucket);
  return buckets;
}

const CurveStep& StepAt(const Curve& curve, uint32_t bucket) {
  for (const CurveStep& step : curve.steps) {
    if (step.bucket == bucket) return step;
  }
  ADD_FAILURE() << "no step at " << bucket;
  return curve.steps.front();
}

// E. Freireich et al., Blood 21 (1963) 699-716: weeks to relapse under 6-MP, 21 patients. Published
// figures as transcribed in secondary sources: S .857 .807 .753 .690 .627 .538 .448, standard
// errors .0764 .0869 .0963 .1068 .1141 .1282 .1346, log-log limits .620-.952 .503-.889 .188-.680.
std::vector<Life> Relapses() {
  return Lives({6, 6, 6, 7, 10, 13, 16, 22, 23}, {6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35});
}

std::vector<Life> WeightedRelapses() {
  std::vector<Life> lives = Relapses();
  for (size_t i = 0; i < lives.size(); ++i)
    lives[i].weight = DecayWeight(static_cast<double>(i), 10);
  return lives;
}

// More digits here and in the next two from R: survfit(conf.type = "log-log").
TEST(CurveTest, SharesOfThe6MpTrial) {
  const Curve curve = CurveOf(Relapses());
  EXPECT_EQ(Buckets(curve), (std::vector<uint32_t>{6, 7, 10, 13, 16, 22, 23}));
  ExpectSame(Survivals(curve), {.8571428571, .8067226891, .7529411765, .6901960784, .6274509804,
                                .5378151261, .4481792717});
}

TEST(CurveTest, EqualWeightsGiveGreenwoodsStandardErrors) {
  ExpectSame(StandardErrors(CurveOf(Relapses())),
             {.07636035483, .08693528518, .09634965299, .10681470778, .11405386526, .12823375169,
              .13459145676});
}

TEST(CurveTest, LogLogLimitsOfThe6MpTrial) {
  const Curve curve = CurveOf(Relapses());
  const Interval at6 = *StepAt(curve, 6).Limits();
  const Interval at10 = *StepAt(curve, 10).Limits();
  const Interval at23 = *StepAt(curve, 23).Limits();
  ExpectSame({at6.low, at6.high}, {.6197179553, .9515517476});
  ExpectSame({at10.low, at10.high}, {.5031995108, .8893618352});
  ExpectSame({at23.low, at23.high}, {.1880520060, .6801426285});
}

// R: quantile(survfit()) with log-log limits.
TEST(CurveTest, QuantilesOfThe6MpTrialInvertTheLimits) {
  const Curve curve = CurveOf(Relapses());
  const BucketQuantile quartile = *curve.QuantileAt(.25);
  EXPECT_EQ(quartile.bucket, 13u);
  EXPECT_EQ(quartile.low, 6u);
  EXPECT_EQ(quartile.high, 22u);
  const BucketQuantile median = *curve.QuantileAt(.5);
  EXPECT_EQ(median.bucket, 23u);
  EXPECT_EQ(median.low, 13u);
  EXPECT_EQ(median.high, std::nullopt);
  EXPECT_FALSE(curve.QuantileAt(.9).has_value());
}

// R: survfit(weights =) and its robust standard errors, to which the jackknife in plain R agrees.
TEST(CurveTest, WeightedSharesAndRobustErrorsOfThe6MpTrial) {
  const Curve curve = CurveOf(WeightedRelapses());
  ExpectSame(Survivals(curve), {.7551358027, .6795063030, .6037512326, .5206639790, .4431408302,
                                .3395266971, .2428512927});
  ExpectSame(StandardErrors(curve), {.1164989293, .1231110872, .1261365284, .1277987780,
                                     .1238902922, .1214634296, .1046296318});
}

// n* = S (1 - S)/Var: as many equal orders as the weighted ones are worth. R: from that survfit.
TEST(CurveTest, ShareOfTheWeighted6MpTrialByTenWeeksAsABeta) {
  const Curve curve = CurveOf(WeightedRelapses());
  const Beta share = *curve.ShareBy(10);
  ExpectSame(share.a + share.b, 15.03641165);
  ExpectSame({share.a, share.b}, {5.958159582, 9.078252067});
  ExpectSame(share.Mean(), 1 - curve.SurvivalAfter(10));
  EXPECT_EQ(curve.ShareBy(12), curve.ShareBy(10));
  EXPECT_FALSE(curve.ShareBy(5).has_value());
}

TEST(CurveTest, AShareOfNoneOrAllIsNoBeta) {
  EXPECT_FALSE(CurveOf(Lives({}, {3, 4})).ShareBy(9).has_value());
  EXPECT_FALSE(CurveOf(Lives({3, 4}, {})).ShareBy(9).has_value());
  EXPECT_TRUE(CurveOf(Lives({3, 4}, {})).ShareBy(3).has_value());
}

double Weeks(uint32_t bucket) { return bucket; }

// R 4.2.2: the integral of S over weeks 10 to 35, and the mean restricted to 35 weeks.
TEST(CurveTest, AreaUnderThe6MpCurve) {
  const Curve curve = CurveOf(Relapses());
  ExpectSame(curve.AreaBetween(10, 35, Weeks), 14.01008403);
  EXPECT_NEAR(curve.AreaBetween(0, 35, Weeks), 23.2874, 5e-5);
  EXPECT_EQ(curve.AreaBetween(0, 5, Weeks), 5);
  EXPECT_EQ(curve.AreaBetween(8, 8, Weeks), 0);
  // In parts, and beyond the last step at its last value.
  ExpectSame(curve.AreaBetween(10, 12.5, Weeks) + curve.AreaBetween(12.5, 35, Weeks), 14.01008403);
  ExpectSame(curve.AreaBetween(100, 110, Weeks), 10 * .4481792717);
  EXPECT_EQ(Curve{}.AreaBetween(3, 10, Weeks), 7);
}

// Without censoring the area beyond a time is the mean of what lies beyond it.
TEST(CurveTest, AreaBeyondATimeIsTheMeanExcess) {
  const Curve curve = CurveOf(Lives({2, 5, 9, 14}, {}));
  ExpectSame(curve.AreaBetween(4, 20, Weeks), (1 + 5 + 10) / 4.0);
  ExpectSame(curve.AreaBetween(4, 12, Weeks), (1 + 5 + 8) / 4.0);
}

TEST(CurveTest, StepsSayHowManyAreAtRisk) {
  // Weights 1, 1, 2: Y^2/Y2 = 16/6; when one of the first has left, 9/5; in the end 1.
  RiskSet risk(10);
  risk.AddEvents(2, 1, 1);
  risk.AddCensored(4, 1, 1);
  risk.AddEvents(4, 1, 2);
  const Curve curve = risk.Estimate();
  ExpectSame({curve.steps[0].at_risk, curve.steps[1].at_risk}, {16 / 6.0, 9 / 5.0});
  ExpectSame(curve.QuantileAt(.5)->at_risk, 9 / 5.0);
  ExpectSame(StepAt(CurveOf(Relapses()), 10).at_risk, 15);
  risk.AddEvents(6, 1, .25);
  EXPECT_EQ(risk.Estimate().steps.back().at_risk, 1);
}

// Leukaemia remissions: the data set survival::aml of R, and R's survfit of it.
TEST(CurveTest, SharesAndMediansOfTheAmlTrial) {
  const Curve maintained = CurveOf(Lives({9, 13, 18, 23, 31, 34, 48}, {13, 28, 45, 161}));
  ExpectSame(Survivals(maintained), {.9090909091, .8181818182, .7159090909, .6136363636,
                                     .4909090909, .3681818182, .1840909091});
  EXPECT_EQ(maintained.QuantileAt(.5)->bucket, 31u);
  const Curve not_maintained = CurveOf(Lives({5, 5, 8, 8, 12, 23, 27, 30, 33, 43, 45}, {16}));
  EXPECT_EQ(not_maintained.QuantileAt(.5)->bucket, 23u);
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.1.5: 20 units, 6 failures, 4 removed early,
// 10 running at the end. The page gives 19/20, x 18/19, x 16/17, ...; multiplied out in R.
TEST(CurveTest, ReliabilityOfTheHandbooksUnits) {
  std::vector<int> censored = {50, 100, 125, 150};
  censored.insert(censored.end(), 10, 200);
  ExpectSame(Survivals(CurveOf(Lives({10, 32, 56, 98, 122, 181}, censored))),
             {.95, .90, .8470588235, .7941176471, .7373949580, .6703590527});
}

// Ten parcels, two of them lost and shipped 20 days ago: they stay at risk. Were they censored when
// given up, the curve would end in certain delivery (R 4.2.2: F(15) = 1); as an ending that
// competes with delivery they would be 1 in 5 (.78 delivered, tests of defects.h). Ours from R:
// survfit.
TEST(CurveTest, LostParcelsStayAtRisk) {
  const Curve curve = CurveOf(Lives({3, 4, 5, 8, 10, 15}, {6, 12, 20, 20}));
  ExpectSame(1 - curve.SurvivalAfter(10), .5333333333);
  ExpectSame(1 - curve.SurvivalAfter(15), .6888888889);
  EXPECT_FALSE(curve.QuantileAt(.7).has_value());
}

// R: survfit(weights = 1, 2, 3, 1, ...).
TEST(CurveTest, WholeWeightsAreReplicatedOrders) {
  std::vector<Life> weighted = Relapses();
  RiskSet replicated(400);
  for (size_t i = 0; i < weighted.size(); ++i) {
    weighted[i].weight = static_cast<double>(i % 3 + 1);
    const auto bucket = static_cast<uint32_t>(weighted[i].last);
    const auto count = static_cast<int64_t>(i % 3 + 1);
    if (weighted[i].event) {
      replicated.AddEvents(bucket, count, 1);
    } else {
      replicated.AddCensored(bucket, count, 1);
    }
  }
  const Curve curve = CurveOf(weighted);
  ExpectSame({curve.SurvivalAfter(6), curve.SurvivalAfter(23)}, {.8571428571, .4541061617});
  ExpectSame(Survivals(replicated.Estimate()), Survivals(curve));
}

TEST(CurveTest, ManyOrdersOfOneWeightAreAsCertainAsTheyAreMany) {
  RiskSet together(5), apart(5);
  together.AddEvents(1, 3, .5);
  together.AddCensored(3, 4, .25);
  for (int i = 0; i < 3; ++i) apart.AddEvents(1, 1, .5);
  for (int i = 0; i < 4; ++i) apart.AddCensored(3, 1, .25);
  ExpectSame(Survivals(together.Estimate()), Survivals(apart.Estimate()));
  ExpectSame(StandardErrors(together.Estimate()), StandardErrors(apart.Estimate()));
}

TEST(CurveTest, NobodyAtRiskIsAnEmptyCurve) {
  RiskSet risk(10);
  EXPECT_TRUE(risk.Estimate().steps.empty());
  risk.AddCensored(4, 3, 1);
  const Curve curve = risk.Estimate();
  EXPECT_TRUE(curve.steps.empty());
  EXPECT_EQ(curve.SurvivalAfter(9), 1);
  EXPECT_FALSE(curve.QuantileAt(.01).has_value());
}

TEST(CurveTest, TheLastOneOutLeavesExactlyNobody) {
  RiskSet risk(10);
  for (int i = 0; i < 7; ++i) risk.AddEvents(static_cast<uint32_t>(i), 1, DecayWeight(i, 1.7));
  const Curve curve = risk.Estimate();
  EXPECT_EQ(curve.steps.back().survival, 0);
  EXPECT_EQ(curve.steps.back().spread, 0);
  EXPECT_FALSE(curve.steps.back().Limits().has_value());
}

TEST(CurveTest, AQuantileReachedByTheOnlyOrderHasNoLimits) {
  const BucketQuantile median = *CurveOf(Lives({4}, {})).QuantileAt(.5);
  EXPECT_EQ(median.bucket, 4u);
  EXPECT_FALSE(median.low.has_value());
  EXPECT_FALSE(median.high.has_value());
}

TEST(CurveTest, AShareReachedUpToRoundingIsReached) {
  // k of n orders: 1 - S falls short of k/n by a rounding error for some.
  for (int n = 2; n <= 40; ++n) {
    std::vector<Life> lives;
    for (int i = 0; i < n; ++i) lives.push_back({i, true, 1.0 / 3});
    const Curve curve = CurveOf(lives);
    for (int k = 1; k < n; ++k) {
      const double q = static_cast<double>(k) / n;
      EXPECT_EQ(curve.QuantileAt(q)->bucket, static_cast<uint32_t>(k - 1)) << k << " of " << n;
    }
  }
}

TEST(CurveTest, ACommonFactorOfTheWeightsChangesNothing) {
  std::vector<Life> scaled = WeightedRelapses();
  for (Life& life : scaled) life.weight *= 0x1p-300;
  const Curve curve = CurveOf(WeightedRelapses());
  ExpectSame(Survivals(CurveOf(scaled)), Survivals(curve));
  ExpectSame(StandardErrors(CurveOf(scaled)), StandardErrors(curve));
}

// Order by order, as the formulas in the header are written.
TEST(CurveTest, AgreesWithSumsOverSingleOrders) {
  naive::Random random(11);
  for (int round = 0; round < 300; ++round) {
    std::vector<Life> lives;
    for (int i = random.Below(25); i >= 0; --i) {
      lives.push_back({random.Below(12), random.Below(3) > 0, DecayWeight(random.Below(90), 20)});
    }
    const Curve curve = CurveOf(lives);
    for (const CurveStep& step : curve.steps) {
      const naive::Point expected = naive::CurveAt(lives, static_cast<int>(step.bucket));
      EXPECT_NEAR(step.survival, expected.survival, 1e-9);
      ASSERT_EQ(step.Limits().has_value(), expected.limits.has_value());
      if (!expected.limits) continue;
      EXPECT_NEAR(step.Limits()->low, expected.limits->low, 1e-9);
      EXPECT_NEAR(step.Limits()->high, expected.limits->high, 1e-9);
    }
  }
}

}  // namespace
}  // namespace plumblane
