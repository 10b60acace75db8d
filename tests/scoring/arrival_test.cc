// Arrivals within a number of days, worked out by hand.
#include "scoring/arrival.h"

#include <gtest/gtest.h>

#include "cohorts/buckets.h"
#include "scoring/curve.h"
#include "scoring/fixture.h"

namespace plumblane {
namespace {

constexpr Day kOld = kToday - 200;
constexpr double kDay = 86'400;

uint32_t Days(int days) { return BucketOf(days * kMillisPerDay); }
double InDays(int days) { return BucketSeconds(Days(days)) / kDay; }

// Ten orders, arriving after 2, 4, ... 20 days.
Series TenOrders() {
  Series series = {Counted(kOld, 10)};
  for (int i = 1; i <= 10; ++i) series[0].cell.counted.Add(Code::kDelivered, Days(2 * i), 1);
  return series;
}

std::optional<ArrivalEstimate> Within(double days, const Series& series,
                                      const Moment& moment = Asked(kToday),
                                      Scope scope = Scope::kCounted) {
  return ArrivalsWithin({&days, 1}, series, scope, moment, kNoDecay).at(0).estimate;
}

TEST(ArrivalTest, ShareOfThoseThereByThen) {
  const ArrivalEstimate estimate = *Within(8.5, TenOrders());
  ExpectSame(estimate.share, .4);
  // Nothing is censored: as sure as ten orders are, S (1 - S)/Var = 10 by Greenwood.
  ExpectSame({estimate.posterior->a, estimate.posterior->b}, {4, 6});
}

TEST(ArrivalTest, ABucketCountsWhenItHasEnded) {
  const double end = static_cast<double>(BucketEndMillis(Days(8))) / kMillisPerDay;
  ExpectSame(Within(end + 1e-6, TenOrders())->share, .4);
  ExpectSame(Within(end - 1e-6, TenOrders())->share, .3);
}

TEST(ArrivalTest, MeanDaysBeyondCountThoseInTimeAsNone) {
  double sum = 0;
  for (int days = 10; days <= 20; days += 2) sum += InDays(days) - 8.5;
  ExpectSame(Within(8.5, TenOrders())->late_days, sum / 10);
  EXPECT_NEAR(sum / 10, (1.5 + 3.5 + 5.5 + 7.5 + 9.5 + 11.5) / 10, .1);
}

TEST(ArrivalTest, WhoeverNeverArrivesIsTakenToArriveAtTheLimit) {
  const Series series = {Counted(kOld, 4, {{Code::kDelivered, Days(5), 3}})};
  const ArrivalEstimate estimate = *Within(10, series);
  ExpectSame(estimate.share, .75);
  ExpectSame(estimate.late_days, .25 * (120 - 10));
}

TEST(ArrivalTest, NobodyInTimeOrAllIsNoBeta) {
  const ArrivalEstimate none = *Within(1, TenOrders());
  EXPECT_EQ(none.share, 0);
  EXPECT_FALSE(none.posterior.has_value());
  const ArrivalEstimate all = *Within(30, TenOrders());
  EXPECT_EQ(all.share, 1);
  EXPECT_FALSE(all.posterior.has_value());
  EXPECT_EQ(all.late_days, 0);
  const ArrivalEstimate at_once = *Within(0, TenOrders());
  EXPECT_EQ(at_once.share, 0);
  double sum = 0;
  for (int days = 2; days <= 20; days += 2) sum += InDays(days);
  ExpectSame(at_once.late_days, sum / 10);
}

TEST(ArrivalTest, NobodyKnowsBeforeSomebodyWasWatchedThatLong) {
  // Paid 12 days before the horizon, one of two there after 3 days.
  const Series series = {Counted(kToday - 14, 2, {{Code::kDelivered, Days(3), 1}})};
  EXPECT_TRUE(Within(12, series).has_value());
  EXPECT_FALSE(Within(12.01, series).has_value());
  EXPECT_FALSE(Within(1, {}).has_value());
  // All there: nothing is left to be known.
  const Series done = {Counted(kToday - 14, 2, {{Code::kDelivered, Days(3), 2}})};
  EXPECT_EQ(Within(60, done)->share, 1);
}

TEST(ArrivalTest, AnOldOrderThatArrivedDoesNotSpeakForYoungOnes) {
  // Watched for half a year, but there after 3 days; the others have been on their way for 12.
  const Series series = {Counted(kOld, 1, {{Code::kDelivered, Days(3), 1}}),
                         Counted(kToday - 14, 4)};
  ExpectSame(Within(12, series)->share, .2);
  EXPECT_FALSE(Within(13, series).has_value());
}

TEST(ArrivalTest, LimitsNeedAsManyOrdersAsAdvised) {
  ScoreRules rules = kNoDecay;
  const auto limits = [&](int64_t orders) {
    const Series series = {Counted(kOld, orders, {{Code::kDelivered, Days(4), orders / 2}})};
    const double days = 10;
    return ArrivalsWithin({&days, 1}, series, Scope::kCounted, Asked(kToday), rules)
        .at(0)
        .estimate->limits;
  };
  EXPECT_TRUE(limits(4).has_value());
  rules.fewest_at_risk = kFewestAtRisk;
  EXPECT_FALSE(limits(4).has_value());
  // Of six orders three: Beta(3, 3), whose 2.5 % point is .1466 (R: qbeta(.025, 3, 3)).
  EXPECT_NEAR(limits(6)->low, .1466, 1e-4);
  EXPECT_NEAR(limits(6)->high, 1 - .1466, 1e-4);
}

TEST(ArrivalTest, OneAnswerForEachNumberOfDays) {
  const std::vector<double> days = {30, 8.5, 8.5, 0};
  const auto arrivals = ArrivalsWithin(days, TenOrders(), Scope::kCounted, Asked(kToday), kNoDecay);
  ASSERT_EQ(arrivals.size(), days.size());
  for (size_t i = 0; i < days.size(); ++i) {
    EXPECT_EQ(arrivals[i].days, days[i]);
    EXPECT_EQ(arrivals[i].estimate, Within(days[i], TenOrders()));
  }
  EXPECT_TRUE(ArrivalsWithin({}, TenOrders(), Scope::kCounted, Asked(kToday), kNoDecay).empty());
}

TEST(ArrivalTest, OrdersUnderWayCountAsFarAsTheyAreWatched) {
  // Eight old ones, half there after 4 days; four that were watched 12 days and are not there.
  const Series series = {Counted(kOld, 8, {{Code::kDelivered, Days(4), 4}}),
                         Counted(kToday - 14, 4)};
  ExpectSame(Within(10, series)->share, 4 / 12.0);
}

TEST(ArrivalTest, ALaneIncludesExcusedOrders) {
  const Series series =
      SeriesOf({Counted(kOld, 3, {{Code::kDelivered, Days(4), 3}}), Excused(kOld, 1)});
  EXPECT_EQ(Within(10, series)->share, 1);
  ExpectSame(Within(10, series, Asked(kToday), Scope::kWithExcused)->share, .75);
  EXPECT_FALSE(Within(10, {Excused(kOld, 1)}).has_value());
}

}  // namespace
}  // namespace plumblane
