// The on-time rate: what settles, what is late, and what the prior adds. One test per rule of
// rate.h and moment.h, worked out by hand.
#include "scoring/rate.h"

#include <gtest/gtest.h>

#include "scoring/fixture.h"

namespace plumblane {
namespace {

constexpr Code kDelivered = Code::kDelivered;
constexpr Code kLate = Code::kDeliveredLate;

RateEstimate Rate(const Series& series, const Moment& moment,
                  const std::optional<Prior>& prior = {}, const ScoreRules& rules = kNoDecay,
                  Scope scope = Scope::kCounted) {
  return OnTimeRate(CountOnTime(series, scope, moment, rules), prior, rules.rate_mode);
}

RateEstimate MeasuredRate(const Series& series, const Prior& prior, ScoreRules rules) {
  rules.rate_mode = RateMode::kAverage;
  return Rate(series, Asked(kToday), prior, rules);
}

TEST(OnTimeTest, CohortSettlesAtTheVeryEndOfItsDay) {
  const Series series = {Counted(kToday, 3, {{kDelivered, 0, 3}})};
  EXPECT_EQ(Rate(series, WatchedFor(kToday, -1)).order_count, 0);
  EXPECT_EQ(Rate(series, WatchedFor(kToday, 0)).order_count, 3);
}

TEST(OnTimeTest, AtMidnightTheLastCohortReadIsTheDayBeforeYesterdays) {
  const Series series = {Counted(kToday - 3, 1), Counted(kToday - 2, 1), Counted(kToday - 1, 1),
                         Counted(kToday, 1), Counted(kToday + 9, 1)};
  EXPECT_EQ(Rate(series, Asked(kToday)).order_count, 2);
}

TEST(OnTimeTest, WhateverIsNotDeliveredByItsPromiseIsLate) {
  // One in time, one two days late, one not delivered so far.
  const Series series = {Counted(kToday - 9, 3, {{kDelivered, 0, 1}, {kLate, 2, 1}})};
  const RateEstimate rate = Rate(series, Asked(kToday));
  EXPECT_EQ(rate.order_count, 3);
  EXPECT_EQ(rate.hit_count, 2);
  ExpectSame(*rate.observed, 1 / 3.0);
}

TEST(OnTimeTest, OrdersUnderWayBeforeTheirPromiseAreNotLate) {
  const Series series = {Counted(kToday - 9, 1, {{kDelivered, 0, 1}}), Counted(kToday + 5, 40)};
  EXPECT_EQ(*Rate(series, Asked(kToday)).observed, 1);
}

TEST(OnTimeTest, OlderOrdersCountLess) {
  // Weights 1/2 and 1/4: W1 = 2 * .5 + 4 * .25 = 2, S = 1 * .5 + 1 * .25 = .75.
  const Series series = {Counted(kToday - 20, 4, {{kDelivered, 0, 3}}),
                         Counted(kToday - 10, 2, {{kDelivered, 0, 1}})};
  const Prior prior{.1, 4};
  const RateEstimate rate = Rate(series, Asked(kToday), prior, {.half_life_days = 10});
  EXPECT_DOUBLE_EQ(rate.weight, 2);
  EXPECT_DOUBLE_EQ(*rate.observed, .625);
  EXPECT_EQ(rate.order_count, 6);
  EXPECT_EQ(rate.hit_count, 2);
  // Late rate: Beta(.4 + .75, 3.6 + 1.25).
  EXPECT_DOUBLE_EQ(rate.posterior_a, 1.15);
  EXPECT_DOUBLE_EQ(rate.posterior_b, 4.85);
  EXPECT_DOUBLE_EQ(*rate.estimate, 4.85 / 6);
  const Beta late{1.15, 4.85};
  EXPECT_DOUBLE_EQ(*rate.low, 1 - late.UpperQuantile(.025));
  EXPECT_DOUBLE_EQ(*rate.high, 1 - late.Quantile(.025));
  EXPECT_LT(*rate.low, *rate.estimate);
  EXPECT_GT(*rate.high, *rate.estimate);
}

TEST(OnTimeTest, WeightsAreByWholeDaysBeforeToday) {
  const Series series = {Counted(kToday - 10, 1)};
  Moment evening = Asked(kToday);
  evening.now = evening.now + 23 * kMillisPerHour;
  const ScoreRules rules{.half_life_days = 10};
  EXPECT_DOUBLE_EQ(Rate(series, evening, {}, rules).weight, .5);
  EXPECT_DOUBLE_EQ(Rate(series, Asked(kToday + 10), {}, rules).weight, .25);
}

TEST(OnTimeTest, RateWithoutOrdersIsAbsent) {
  const RateEstimate rate = Rate({}, Asked(kToday), Prior{.2, 4});
  EXPECT_EQ(rate.order_count, 0);
  EXPECT_EQ(rate.weight, 0);
  EXPECT_FALSE(rate.observed || rate.estimate || rate.low || rate.high);
}

TEST(OnTimeTest, WithoutOrdersThePosteriorIsThePrior) {
  const RateEstimate rate = Rate({}, Asked(kToday), Prior{.2, 4});
  EXPECT_DOUBLE_EQ(rate.posterior_a, .8);
  EXPECT_DOUBLE_EQ(rate.posterior_b, 3.2);
}

TEST(OnTimeTest, WithoutPriorARateIsObservedButNotEstimated) {
  const RateEstimate rate = Rate({Counted(kToday - 9, 2, {{kDelivered, 0, 1}})}, Asked(kToday));
  EXPECT_EQ(*rate.observed, .5);
  EXPECT_FALSE(rate.estimate || rate.low || rate.high);
  EXPECT_EQ(rate.posterior_a, 0);
  EXPECT_EQ(rate.posterior_b, 0);
}

TEST(OnTimeTest, OrdersTooOldToWeighLeaveTheEstimateToThePrior) {
  const Series series = {Counted(kToday - 1200, 5)};
  const RateEstimate rate = Rate(series, Asked(kToday), Prior{.2, 4}, {.half_life_days = 1});
  EXPECT_EQ(rate.order_count, 5);
  EXPECT_EQ(rate.hit_count, 5);
  EXPECT_FALSE(rate.observed.has_value());
  EXPECT_DOUBLE_EQ(*rate.estimate, .8);
}

TEST(OnTimeTest, ExcusedOrdersCountForALaneAndNotForASupplier) {
  const Series series = SeriesOf(
      {Counted(kToday - 9, 3, {{kDelivered, 0, 3}}), Excused(kToday - 9, 2, {{kDelivered, 0, 1}})});
  const RateEstimate supplier = Rate(series, Asked(kToday));
  EXPECT_EQ(supplier.order_count, 3);
  EXPECT_EQ(supplier.hit_count, 0);
  const RateEstimate lane = Rate(series, Asked(kToday), {}, kNoDecay, Scope::kWithExcused);
  EXPECT_EQ(lane.order_count, 5);
  EXPECT_EQ(lane.hit_count, 1);
  ExpectSame(*lane.observed, .8);
}

// Weights 1/2 and 1/4 as above: W1 = 2, W2 = 2/4 + 4/16 = .75, S = .75, so that n = 4/.75 = 16/3
// and s = 2.
TEST(MeasuredTest, CountsByTheEffectiveSize) {
  const Series series = {Counted(kToday - 20, 4, {{kDelivered, 0, 3}}),
                         Counted(kToday - 10, 2, {{kDelivered, 0, 1}})};
  const ScoreRules rules{.half_life_days = 10};
  const RateEstimate rate = MeasuredRate(series, Prior{.1, 4}, rules);
  ExpectSame(rate.weight, 16 / 3.0);
  ExpectSame(rate.posterior_a, .4 + 2);
  ExpectSame(rate.posterior_b, 3.6 + 10 / 3.0);
  ExpectSame(*rate.estimate, 1 - 2.4 / (4 + 16 / 3.0));
  ExpectSame(*rate.low, 1 - Beta{2.4, 3.6 + 10 / 3.0}.UpperQuantile(.025));
  // What was seen is the same in both modes.
  const RateEstimate current = Rate(series, Asked(kToday), Prior{.1, 4}, rules);
  EXPECT_EQ(rate.observed, current.observed);
  EXPECT_EQ(rate.order_count, current.order_count);
  EXPECT_EQ(rate.hit_count, current.hit_count);
  EXPECT_LT(*rate.high - *rate.low, *current.high - *current.low);
}

TEST(MeasuredTest, WithoutDecayBothModesAreTheSame) {
  const Series series = {Counted(kToday - 20, 4, {{kDelivered, 0, 3}}),
                         Counted(kToday - 10, 2, {{kDelivered, 0, 1}})};
  const RateEstimate rate = MeasuredRate(series, Prior{.1, 4}, kNoDecay);
  ExpectSame(rate.weight, 6);
  ExpectSame(rate.posterior_a, .4 + 2);
  ExpectSame(rate.posterior_b, 3.6 + 4);
}

TEST(MeasuredTest, WithoutOrdersThePosteriorIsThePrior) {
  EXPECT_EQ(MeasuredPosterior({.2, 5}, {}), (Beta{1, 4}));
  const RateEstimate rate = MeasuredRate({}, Prior{.2, 5}, kNoDecay);
  EXPECT_FALSE(rate.observed || rate.estimate);
  EXPECT_EQ(rate.posterior_a, 1);
  EXPECT_EQ(rate.weight, 0);
}

TEST(MeasuredTest, AllLateLeavesNoMiss) {
  WeightedSums sums;
  for (int age = 0; age < 50; ++age) sums.Add(DecayWeight(age, 7), 1, 1);
  ExpectSame(MeasuredPosterior({.5, 2}, sums).b, 1);
}

TEST(PriorTest, SumsAreWhatAFleetPriorIsFittedTo) {
  const Series series = SeriesOf({Counted(kToday - 20, 4, {{kDelivered, 0, 3}}),
                                  Counted(kToday - 10, 2, {{kDelivered, 0, 1}}),
                                  Excused(kToday - 10, 50), Counted(kToday - 1, 50)});
  const WeightedSums sums =
      CountOnTime(series, Scope::kCounted, Asked(kToday), {.half_life_days = 10}).Sums();
  ExpectSame({sums.w1, sums.w2, sums.s}, {2, .75, .75});
  const WeightedSums lane =
      CountOnTime(series, Scope::kWithExcused, Asked(kToday), {.half_life_days = 10}).Sums();
  ExpectSame({lane.w1, lane.w2, lane.s}, {27, 13.25, 25.75});
}

TEST(PriorTest, PooledLatePriorIsTheDecayedShareOfAllCountedOrdersWithHalfAnOrderOfDoubt) {
  const Series total = SeriesOf({Counted(kToday - 20, 4, {{kDelivered, 0, 3}}),
                                 Counted(kToday - 10, 2, {{kDelivered, 0, 1}}),
                                 Excused(kToday - 10, 50), Counted(kToday - 1, 50)});
  const auto prior = PooledLatePrior(total, Asked(kToday), {.half_life_days = 10});
  ASSERT_TRUE(prior.has_value());
  // W1 = 4/4 + 2/2 and S = 1/4 + 1/2.
  EXPECT_DOUBLE_EQ(prior->mean, (.75 + .5) / (2 + 1));
  EXPECT_EQ(prior->strength, 4);
}

TEST(PriorTest, ThePriorOfALaneCountsExcusedOrders) {
  const Series total =
      SeriesOf({Counted(kToday - 10, 2, {{kDelivered, 0, 2}}), Excused(kToday - 9, 2)});
  const ScoreRules rules{.half_life_days = 1e6};
  const Moment moment = Asked(kToday);
  EXPECT_NEAR(PooledLatePrior(total, moment, rules)->mean, .5 / 3, 1e-4);
  EXPECT_NEAR(PooledLatePrior(total, moment, rules, Scope::kWithExcused)->mean, 2.5 / 5, 1e-4);
}

TEST(PriorTest, APoolThatNoLongerWeighsLeavesEverythingOpen) {
  const Series total{Counted(kToday - 4000, 50, {{kDelivered, 0, 50}})};
  EXPECT_NEAR(PooledLatePrior(total, Asked(kToday), {.half_life_days = 1})->mean, .5, 1e-9);
}

TEST(PriorTest, NoSettledOrderAnywhereIsNoPrior) {
  EXPECT_FALSE(PooledLatePrior({}, Asked(kToday), {}).has_value());
  EXPECT_FALSE(PooledLatePrior({Counted(kToday - 1, 7)}, Asked(kToday), {}).has_value());
  EXPECT_FALSE(PooledLatePrior({Excused(kToday - 9, 7)}, Asked(kToday), {}).has_value());
}

TEST(PriorTest, APriorOfNoneOrAllKeepsAShareOfDoubt) {
  EXPECT_EQ(PosteriorOf({0, 4}, 0, 0), (Beta{.05, 4}));
  EXPECT_EQ(PosteriorOf({1, 4}, 0, 0), (Beta{4, .05}));
  EXPECT_EQ(PosteriorOf({0, 4}, 2, 5), (Beta{2.05, 7}));
}

TEST(PriorTest, HitsWithinRoundingAreNone) {
  EXPECT_EQ(PosteriorOf({.5, 4}, 1e-9 * 100, 100), (Beta{2, 102}));
  EXPECT_GT(PosteriorOf({.5, 4}, 1e-8 * 100, 100).a, 2);
}

TEST(PriorTest, MoreHitsThanOrdersLeaveNoMiss) {
  EXPECT_EQ(PosteriorOf({.5, 4}, 3, 1), (Beta{5, 2}));
}

}  // namespace
}  // namespace plumblane
