// The defect rate: when a defect is known, who is at risk when, and what a young cohort counts. One
// test per rule of defects.h, worked out by hand.
#include "scoring/defects.h"

#include <gtest/gtest.h>

#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

using naive::Random;

constexpr Code kQuality = Code::kQuality;
constexpr Day kOld = kToday - 100;  // past the claim window at Asked(kToday)
constexpr Day kYoung = kToday - 7;  // watched for exactly 5 days at Asked(kToday)

RateEstimate Rate(const Series& series, const Moment& moment, const DefectPrior& pooled = {},
                  const ScoreRules& rules = kNoDecay, Scope scope = Scope::kCounted) {
  return DefectsOf(series, scope, pooled.prior, pooled.delay, moment, rules).rate;
}

std::optional<DefectKinds> Kinds(const Series& series, const ScoreRules& rules = kNoDecay,
                                 Scope scope = Scope::kCounted) {
  return DefectsOf(series, scope, {}, {}, Asked(kToday), rules).kinds;
}

DefectPrior Pooled(const Series& total, const ScoreRules& rules = kNoDecay) {
  return PooledDefectPrior(total, Asked(kToday), rules);
}

TEST(DefectTest, ADefectIsKnownOnceItsDayIsOver) {
  const Series series = {Counted(kToday, 2, {{kQuality, 3, 1}})};
  EXPECT_EQ(Rate(series, WatchedFor(kToday, 3 * kMillisPerDay)).hit_count, 1);
  EXPECT_EQ(Rate(series, WatchedFor(kToday, 3 * kMillisPerDay - 1)).hit_count, 0);
  EXPECT_EQ(*Rate(series, WatchedFor(kToday, 3 * kMillisPerDay - 1)).observed, 0);
}

TEST(DefectTest, OrdersCountOnceTheirPromisedDayIsOver) {
  const Series series = {Counted(kToday, 2, {{kQuality, 0, 1}})};
  EXPECT_EQ(Rate(series, WatchedFor(kToday, -1)).order_count, 0);
  const RateEstimate rate = Rate(series, WatchedFor(kToday, 0));
  EXPECT_EQ(rate.order_count, 2);
  EXPECT_EQ(rate.hit_count, 1);
  EXPECT_EQ(*rate.observed, .5);
}

TEST(DefectTest, AnOrderThatLeftIsAtRiskOnItsOwnDay) {
  using Outcomes = std::vector<Outcome>;
  const auto observed = [](const Outcomes& outcomes) {
    return *Rate({Counted(kOld, 4, outcomes)}, Asked(kToday)).observed;
  };
  ExpectSame(observed({{kQuality, 3, 1}, {Code::kLeft, 3, 1}}), 1 / 4.0);
  ExpectSame(observed({{kQuality, 3, 1}, {Code::kLeft, 2, 1}}), 1 / 3.0);
  ExpectSame(observed({{kQuality, 3, 1}, {Code::kLeft, 4, 1}}), 1 / 4.0);
}

TEST(DefectTest, AnOrderThatLeftStaysInTheCount) {
  const RateEstimate rate = Rate({Counted(kOld, 4, {{Code::kLeft, 3, 1}})}, Asked(kToday));
  EXPECT_EQ(rate.order_count, 4);
  EXPECT_EQ(rate.hit_count, 0);
}

TEST(DefectTest, YoungCohortsAreAtRiskAsFarAsTheyHaveCome) {
  const auto observed = [](uint32_t delay) {
    const Series series = {Counted(kOld, 4, {{kQuality, delay, 1}}), Counted(kYoung, 4)};
    return *Rate(series, Asked(kToday)).observed;
  };
  ExpectSame(observed(5), 1 / 8.0);
  ExpectSame(observed(6), 1 / 4.0);
}

TEST(DefectTest, ADefectBeyondTheClaimWindowIsNoHit) {
  const Series series = {Counted(kOld, 4, {{kQuality, 60, 1}, {kQuality, 61, 1}})};
  const RateEstimate rate = Rate(series, Asked(kToday));
  EXPECT_EQ(rate.hit_count, 1);
  EXPECT_EQ(*rate.observed, .25);
  const ScoreRules longer{.half_life_days = 1e15, .claim_window_days = 61};
  EXPECT_EQ(Rate(series, Asked(kToday), {}, longer).hit_count, 2);
}

TEST(DefectTest, BeforeAnyCohortEndsItsWindowTheShareIsThatOfTheLastDayReached) {
  const RateEstimate rate = Rate({Counted(kYoung, 4, {{kQuality, 2, 1}})}, Asked(kToday));
  EXPECT_EQ(*rate.observed, .25);
}

TEST(DefectTest, EveryKindIsADefectAndNothingElseIs) {
  for (const Code kind : {Code::kDamaged, Code::kQuality, Code::kWrongItem, Code::kMissingPart,
                          Code::kCounterfeit, Code::kUnsafe, Code::kLost}) {
    EXPECT_EQ(Rate({Counted(kOld, 4, {{kind, 3, 2}})}, Asked(kToday)).hit_count, 2);
  }
  EXPECT_EQ(Rate({Counted(kOld, 4, {{Code::kFault, 3, 2}})}, Asked(kToday)).hit_count, 0);
}

TEST(DefectTest, RateWithoutOrdersIsAbsent) {
  const DefectPrior pooled = Pooled({Counted(kOld, 4, {{kQuality, 3, 1}})});
  const RateEstimate rate = Rate({Counted(kToday - 1, 5)}, Asked(kToday), pooled);
  EXPECT_EQ(rate.order_count, 0);
  EXPECT_FALSE(rate.observed || rate.estimate || rate.low || rate.high);
  ExpectSame(rate.posterior_a, 4 * 1.5 / 5);
  ExpectSame(rate.posterior_b, 4 * 3.5 / 5);
}

TEST(DefectTest, ObservedIsTheWeightedShare) {
  // Weights 1/8 and 1/32 (half-life 10, ages 30 and 50... the window is over for both).
  const Series series = {Counted(kToday - 50, 4, {{kQuality, 1, 2}}), Counted(kToday - 30, 3)};
  const ScoreRules rules{.half_life_days = 10, .claim_window_days = 20};
  const RateEstimate rate = Rate(series, Asked(kToday), {}, rules);
  ExpectSame(*rate.observed, (2 / 32.0) / (4 / 32.0 + 3 / 8.0));
  ExpectSame(rate.weight, 4 / 32.0 + 3 / 8.0);
}

TEST(DelayTest, PooledCurveOfCohortsPastTheWindow) {
  const Series total = {Counted(kOld, 8, {{kQuality, 2, 1}, {kQuality, 10, 1}})};
  const std::vector<double> share = Pooled(total).delay.share;
  ASSERT_EQ(share.size(), 61u);
  EXPECT_DOUBLE_EQ(share[1], 0);
  EXPECT_DOUBLE_EQ(share[2], 1 / 8.0);
  EXPECT_DOUBLE_EQ(share[9], 1 / 8.0);
  EXPECT_DOUBLE_EQ(share[10], 2 / 8.0);
  EXPECT_DOUBLE_EQ(share[60], 2 / 8.0);
}

TEST(DelayTest, AYoungOrderCountsForThePartItHasShown) {
  // By day 5 half of the defects have shown: 8 old orders count 8, 6 young ones 3.
  const DefectPrior pooled = Pooled({Counted(kOld, 8, {{kQuality, 2, 1}, {kQuality, 10, 1}})});
  ExpectSame(pooled.prior->mean, 2.5 / 9.0);
  const RateEstimate rate =
      Rate({Counted(kOld, 8), Counted(kYoung, 6, {{kQuality, 1, 1}})}, Asked(kToday), pooled);
  ExpectSame(rate.weight, 11);
  EXPECT_EQ(rate.order_count, 14);
  ExpectSame(rate.posterior_a, 4 * 2.5 / 9 + 1);
  ExpectSame(rate.posterior_b, 4 * 6.5 / 9 + 10);
  ExpectSame(*rate.estimate, (10 / 9.0 + 1) / 15);
  const Beta defect{rate.posterior_a, rate.posterior_b};
  EXPECT_DOUBLE_EQ(*rate.low, defect.Quantile(.025));
  EXPECT_DOUBLE_EQ(*rate.high, defect.UpperQuantile(.025));
}

TEST(DelayTest, ThePriorsOrdersCountForThePartTheyHaveShownToo) {
  const Series total = {Counted(kOld, 8, {{kQuality, 2, 1}, {kQuality, 10, 1}}),
                        Counted(kYoung, 8)};
  // At risk on day 2: 16, on day 10: 7. G(5) = 1/16, G(60) = 1 - 15/16 * 6/7.
  const double by_window = 1 - 15 / 16.0 * 6 / 7.0;
  const DefectPrior pooled = Pooled(total);
  ExpectSame(pooled.prior->mean, 2.5 / (9 + 8 * (1 / 16.0) / by_window));
  EXPECT_EQ(pooled.prior->strength, 4);
}

TEST(DelayTest, WhileNoDefectIsKnownThePartIsThatOfTheWindow) {
  const DefectPrior pooled = Pooled({Counted(kYoung, 10)});
  // 10 orders at 6 of 61 days, and half an order of doubt.
  ExpectSame(pooled.prior->mean, .5 / (60 / 61.0 + 1));
  const RateEstimate rate = Rate({Counted(kOld, 2), Counted(kYoung, 61)}, Asked(kToday), pooled);
  ExpectSame(rate.weight, 2 + 6);
  ExpectSame(rate.posterior_a, 4 * pooled.prior->mean);
  ExpectSame(rate.posterior_b, 4 * (1 - pooled.prior->mean) + 8);
}

TEST(DelayTest, ACurveThatEndsEarlyGoesOnAtItsLastValue) {
  const DefectPrior pooled = Pooled({Counted(kYoung, 4, {{kQuality, 2, 1}, {kQuality, 4, 1}})});
  EXPECT_DOUBLE_EQ(pooled.delay.share[60], .5);
  EXPECT_DOUBLE_EQ(pooled.delay.ReachedBy(2, 60), .5);
  EXPECT_DOUBLE_EQ(pooled.delay.ReachedBy(5, 60), 1);
  EXPECT_DOUBLE_EQ(pooled.delay.ReachedBy(600, 60), 1);
}

TEST(DelayTest, WithNothingKnownTheShareOfTheWindowCounts) {
  EXPECT_DOUBLE_EQ(DelayCurve{}.ReachedBy(0, 60), 1 / 61.0);
  EXPECT_DOUBLE_EQ(DelayCurve{}.ReachedBy(600, 60), 1);
}

TEST(DelayTest, AnEarlyDefectWhereNoneAreUsualStillCounts) {
  const DefectPrior pooled = Pooled({Counted(kOld, 8, {{kQuality, 10, 1}})});
  const RateEstimate rate = Rate({Counted(kYoung, 1, {{kQuality, 0, 1}})}, Asked(kToday), pooled);
  EXPECT_EQ(rate.weight, 0);
  EXPECT_EQ(*rate.observed, 1);
  ExpectSame(rate.posterior_a, 4 * 1.5 / 9 + 1);
  ExpectSame(rate.posterior_b, 4 * 7.5 / 9);
}

TEST(DelayTest, PriorIsOfCountedOrdersOnlyAndAbsentWithoutAny) {
  EXPECT_FALSE(Pooled({}).prior.has_value());
  EXPECT_FALSE(Pooled({Counted(kToday - 1, 5)}).prior.has_value());
  EXPECT_FALSE(Pooled({Excused(kOld, 5, {{kQuality, 3, 5}})}).prior.has_value());
  EXPECT_TRUE(Pooled({}).delay.share.empty());
}

TEST(DelayTest, PriorDecays) {
  const Series total = {Counted(kToday - 50, 4, {{kQuality, 1, 2}}), Counted(kToday - 30, 3)};
  const DefectPrior pooled = Pooled(total, {.half_life_days = 10, .claim_window_days = 20});
  ExpectSame(pooled.prior->mean, (2 / 32.0 + .5) / (4 / 32.0 + 3 / 8.0 + 1));
}

// Two weights, one young cohort: w = 1/8 (age 30, past the window of 20 days) and 1/2 (age 10, 8
// days over), and by day 8 half of the defects have shown.
TEST(DelayTest, SumsCountWhatHasShownOnceAndItsWeightTwice) {
  const ScoreRules rules{.half_life_days = 10, .claim_window_days = 20};
  DelayCurve delay;
  for (int day = 0; day <= 20; ++day) delay.share.push_back(day < 8 ? .02 : day < 15 ? .05 : .1);
  const Series series =
      SeriesOf({Counted(kToday - 30, 6, {{kQuality, 1, 1}}),
                Counted(kToday - 10, 4, {{kQuality, 2, 1}}), Excused(kToday - 30, 9)});
  const WeightedSums sums =
      DefectSums(ExposureOf(series, Scope::kCounted, Asked(kToday), rules), delay);
  ExpectSame({sums.w1, sums.w2, sums.s},
             {6 / 8.0 + 4 / 2.0 / 2, 6 / 64.0 + 4 / 4.0 / 2, 1 / 8.0 + 1 / 2.0});
  const WeightedSums lane =
      DefectSums(ExposureOf(series, Scope::kWithExcused, Asked(kToday), rules), delay);
  ExpectSame({lane.w1, lane.w2, lane.s}, {sums.w1 + 9 / 8.0, sums.w2 + 9 / 64.0, sums.s});
  ScoreRules average = rules;
  average.rate_mode = RateMode::kAverage;
  const RateEstimate rate = Rate(series, Asked(kToday), {Prior{.1, 4}, delay}, average);
  ExpectSame(rate.weight, sums.w1 * sums.w1 / sums.w2);
  ExpectSame(rate.posterior_a, .4 + sums.w1 * sums.s / sums.w2);
  EXPECT_EQ(rate.observed, Rate(series, Asked(kToday), {}, rules).observed);
  EXPECT_EQ(rate.order_count, 10);
}

TEST(DelayTest, OneOrderIsAsMuchOfOneAsHasShownWhateverItsWeight) {
  DelayCurve delay;
  for (int day = 0; day <= 60; ++day) delay.share.push_back(day < 30 ? .02 : .1);
  for (const double half_life : {5.0, 1e15}) {
    const ScoreRules rules{.half_life_days = half_life};
    const WeightedSums sums =
        DefectSums(ExposureOf({Counted(kYoung, 1)}, Scope::kCounted, Asked(kToday), rules), delay);
    ExpectSame(sums.EffectiveSize(), .2);
  }
}

// Ten parcels, all cohorts past the window: what R 4.2.2 (survival 3.5-3, survfit of a factor) says
// of durations 3 4 5 5 6 8 9 10 12 15 with endings 1 1 L 1 0 1 L 1 0 1.
TEST(KindTest, SharesOfCompetingEndings) {
  const Series series = {Counted(kOld, 10,
                                 {{kQuality, 3, 1},
                                  {kQuality, 4, 1},
                                  {kQuality, 5, 1},
                                  {Code::kLost, 5, 1},
                                  {Code::kLeft, 6, 1},
                                  {kQuality, 8, 1},
                                  {Code::kLost, 9, 1},
                                  {kQuality, 10, 1},
                                  {Code::kLeft, 12, 1},
                                  {kQuality, 15, 1}})};
  const DefectKinds kinds = *Kinds(series);
  ExpectSame(kinds.Of(kQuality), .78);
  ExpectSame(kinds.Of(Code::kLost), .22);
  EXPECT_EQ(kinds.Of(Code::kUnsafe), 0);
}

TEST(KindTest, SharesAddUpToTheShareOfAll) {
  Random random(8);
  for (int round = 0; round < 50; ++round) {
    std::vector<Cohort> cohorts;
    for (int i = random.Below(20); i >= 0; --i) {
      const int kind = random.Below(8);
      const Code code = kind == 7 ? Code::kLeft : static_cast<Code>(10 + kind);
      cohorts.push_back(Counted(kToday - random.Below(90), 1 + random.Below(3),
                                {{code, static_cast<uint32_t>(random.Below(50)), 1}}));
    }
    const Series series = SeriesOf(cohorts);
    const ScoreRules rules{.half_life_days = 30};
    const RateEstimate rate = Rate(series, Asked(kToday), {}, rules);
    const auto kinds = Kinds(series, rules);
    ASSERT_EQ(kinds.has_value(), rate.observed.has_value());
    if (!kinds) continue;
    double sum = 0;
    for (const double share : kinds->share) sum += share;
    EXPECT_NEAR(sum, *rate.observed, 1e-12);
  }
}

// Weights 1/32 and 1/8, both past the window of 20 days; each kind on the same delay.
TEST(KindTest, OlderDefectsCountLess) {
  const Series series = {Counted(kToday - 50, 4, {{kQuality, 1, 2}}),
                         Counted(kToday - 30, 3, {{Code::kDamaged, 1, 1}})};
  const ScoreRules rules{.half_life_days = 10, .claim_window_days = 20};
  const DefectKinds kinds = *Kinds(series, rules);
  const double all = 4 / 32.0 + 3 / 8.0;
  ExpectSame({kinds.Of(kQuality), kinds.Of(Code::kDamaged)}, {2 / 32.0 / all, 1 / 8.0 / all});
}

TEST(KindTest, SharesAreSharesHoweverLittleOrdersWeigh) {
  int known = 0;
  for (int age = 100; age < 1'100; ++age) {
    const auto kinds =
        Kinds(SeriesOf({Counted(kToday - age, 2, {{Code::kDamaged, 3, 1}, {kQuality, 3, 1}}),
                        Counted(kToday - age + 70, 1)}),
              {.half_life_days = .7});
    if (!kinds) continue;
    ++known;
    for (const double share : kinds->share) EXPECT_TRUE(share >= 0 && share <= 1) << age;
  }
  EXPECT_GT(known, 100);
}

TEST(KindTest, WithoutOrdersThereAreNoShares) {
  EXPECT_FALSE(Kinds({}).has_value());
  EXPECT_FALSE(Kinds({Excused(kOld, 3, {{kQuality, 1, 1}})}).has_value());
  const auto lane = Kinds({Excused(kOld, 4, {{kQuality, 1, 1}})}, kNoDecay, Scope::kWithExcused);
  ExpectSame(lane->Of(kQuality), .25);
}

TEST(DefectTest, ExcusedOrdersCountForALaneAndNotForASupplier) {
  const Series series = SeriesOf({Counted(kOld, 3), Excused(kOld, 1, {{Code::kLost, 30, 1}})});
  EXPECT_EQ(Rate(series, Asked(kToday)).hit_count, 0);
  EXPECT_EQ(*Rate(series, Asked(kToday)).observed, 0);
  const RateEstimate lane = Rate(series, Asked(kToday), {}, kNoDecay, Scope::kWithExcused);
  EXPECT_EQ(lane.order_count, 4);
  EXPECT_EQ(lane.hit_count, 1);
  EXPECT_EQ(*lane.observed, .25);
}

}  // namespace
}  // namespace plumblane
