// The chance that an order under way misses its promise, on curves small enough to redo by hand.
#include "ranking/chase.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cohorts/buckets.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

// "2026-03-05" is the start of that day, "2026-03-05T12" noon.
Day On(const std::string& day) { return ParseDay(day.substr(0, 10)).value(); }
Instant At(const std::string& time) {
  return StartOf(On(time)) + (time.size() > 10 ? kMillisPerDay / 2 : 0);
}

constexpr int64_t kDay = kMillisPerDay;
int64_t Days(double days) { return static_cast<int64_t>(days * static_cast<double>(kDay)); }

// `each` orders arrive after every one of 1 to 10 days; all were followed for 30.
LegCurve TenDays(int64_t each, int64_t followed = 30 * kDay) {
  RiskSet risk(kLastBucket + 1);
  for (int day = 1; day <= 10; ++day) risk.AddEvents(BucketOf(day * kDay), each, 1);
  return {risk.Estimate(), followed};
}

TEST(ChanceStillOut, IsTheShareOfThoseOutThenAmongThoseOutNow) {
  const LegCurve leg = TenDays(10);
  EXPECT_NEAR(*ChanceStillOut(leg, 0, Days(4.5)), .6, 1e-12);
  EXPECT_NEAR(*ChanceStillOut(leg, Days(2.5), Days(4.5)), 6. / 8, 1e-12);
  EXPECT_NEAR(*ChanceStillOut(leg, Days(8.5), Days(9.5)), 1. / 2, 1e-12);
  EXPECT_NEAR(*ChanceStillOut(leg, Days(4.5), Days(4.5)), 1, 1e-12);
  EXPECT_NEAR(*ChanceStillOut(leg, Days(8.5), Days(12)), 0, 1e-12);
  EXPECT_NEAR(*ChanceStillOut(leg, -kDay, Days(1.5)), .9, 1e-12) << "not yet begun";
}

TEST(ChanceStillOut, NobodyCanTellFromFewerThanFiveStillOut) {
  const LegCurve leg = TenDays(1);
  EXPECT_NEAR(*ChanceStillOut(leg, Days(5.5), Days(8.5)), 2. / 5, 1e-12);
  EXPECT_EQ(ChanceStillOut(leg, Days(6.5), Days(8.5)), std::nullopt);
  EXPECT_EQ(ChanceStillOut(leg, Days(20), Days(25)), std::nullopt) << "no order took so long";
  EXPECT_EQ(ChanceStillOut({}, 0, kDay), std::nullopt);
}

TEST(ChanceStillOut, NobodyCanTellBeyondWhatWasFollowed) {
  RiskSet risk(kLastBucket + 1);
  risk.AddEvents(BucketOf(kDay), 10, 1);
  risk.AddCensored(BucketOf(3 * kDay), 10, 1);
  const LegCurve leg{risk.Estimate(), 3 * kDay};
  EXPECT_NEAR(*ChanceStillOut(leg, 0, 3 * kDay), .5, 1e-12);
  EXPECT_EQ(ChanceStillOut(leg, 0, 3 * kDay + 1), std::nullopt);
  // Where all have come, there is nothing more to follow.
  EXPECT_NEAR(*ChanceStillOut(TenDays(10, 12 * kDay), Days(5), 90 * kDay), 0, 1e-12);
  EXPECT_EQ(ChanceStillOut({TenDays(10).curve, std::nullopt}, 0, kDay), std::nullopt);
}

TEST(ChanceStillOut, OfUnequalOrdersCountsWhatTheyAreWorth) {
  RiskSet risk(kLastBucket + 1);
  risk.AddEvents(BucketOf(kDay), 1, 1);
  risk.AddEvents(BucketOf(5 * kDay), 40, .001);  // a heavy one and many light ones: about one
  EXPECT_EQ(ChanceStillOut({risk.Estimate(), 30 * kDay}, 0, 2 * kDay), std::nullopt);
}

TEST(LegCurve, IsFollowedAsFarAsFiveOrdersWereWatched) {
  const Moment moment{At("2026-04-01"), At("2026-03-31"), On("2026-04-01")};
  const auto leg = [&](const std::vector<int64_t>& entered) {
    Series series;
    for (size_t i = 0; i < entered.size(); ++i) {
      Cohort cohort{On("2026-03-01") + 10 * static_cast<int>(i), {}};
      cohort.cell.counted.entered = entered[i];
      series.push_back(cohort);
    }
    return LegCurveOf(Measure::kTransit, series, Scope::kCounted, moment, {}).followed_millis;
  };
  EXPECT_EQ(leg({}), std::nullopt);
  EXPECT_EQ(leg({2, 2}), std::nullopt);
  EXPECT_EQ(leg({5}), 29 * kDay);
  EXPECT_EQ(leg({4, 1, 7}), 19 * kDay);
}

class Chase : public ::testing::Test {
 protected:
  std::optional<double> Chance(const Chased& order,
                               const std::vector<const LegCurve*>& curves) const {
    return LateChance(order, curves, news_);
  }
  const Instant news_ = At("2026-03-05T12");
  Chased order_{At("2026-03-01"), At("2026-03-03"), At("2026-03-08T12"), {}};
};

TEST_F(Chase, AShippedOrderIsTimedFromItsShipTimeAnotherFromItsPayment) {
  const LegCurve leg = TenDays(10);
  EXPECT_NEAR(*Chance(order_, {&leg}), 5. / 8, 1e-12) << "out 2.5 days, due after 5.5";
  order_.shipped.reset();
  EXPECT_NEAR(*Chance(order_, {&leg}), 3. / 6, 1e-12) << "out 4.5 days, due after 7.5";
}

TEST_F(Chase, TheFirstCurveThatCanTellSpeaks) {
  const LegCurve few = TenDays(0), pair = TenDays(10);
  LegCurve lane = TenDays(10);
  lane.curve.steps.resize(3);
  EXPECT_EQ(Chance(order_, {&few}), std::nullopt);
  EXPECT_EQ(Chance(order_, {}), std::nullopt);
  EXPECT_NEAR(*Chance(order_, {&few, &pair}), 5. / 8, 1e-12);
  EXPECT_NEAR(*Chance(order_, {&pair, &lane}), 5. / 8, 1e-12);
}

TEST_F(Chase, PastItsPromiseItIsLateWhateverTheCurveSays) {
  order_.deadline = news_ - 1;
  EXPECT_EQ(Chance(order_, {}), 1);
  order_.deadline = news_;
  EXPECT_EQ(Chance(order_, {}), std::nullopt) << "it may have arrived this moment";
  order_.deadline.reset();
  EXPECT_EQ(Chance(order_, {}), std::nullopt) << "without a promise there is none to miss";
}

TEST_F(Chase, SlowToLeaveIsOnlyWhatIsNotShippedForLongerThanNineInTen) {
  order_.usual_days = 4;
  EXPECT_FALSE(IsSlowToLeave(order_, news_)) << "it is shipped";
  order_.shipped.reset();
  EXPECT_TRUE(IsSlowToLeave(order_, news_));
  EXPECT_FALSE(IsSlowToLeave(order_, At("2026-03-05"))) << "not longer";
  order_.usual_days.reset();
  EXPECT_FALSE(IsSlowToLeave(order_, news_)) << "nobody knows what is usual";
}

TEST_F(Chase, SaysWhyInPlainWords) {
  EXPECT_THAT(WhyChase(order_, .5, news_), IsEmpty());
  EXPECT_THAT(WhyChase(order_, {}, news_), IsEmpty());
  EXPECT_EQ(WhyChase(order_, .72, news_),
            "3 days on its way: 72 in 100 like it came later than this one was promised");
  order_.shipped.reset();
  order_.usual_days = 2;
  EXPECT_EQ(WhyChase(order_, .1, news_),
            "not shipped after 5 days; nine in ten of its supplier leave within 2 days");
  order_.deadline = news_ - kDay;
  order_.usual_days.reset();
  EXPECT_EQ(WhyChase(order_, 1, news_), "1 day past its promise and not shipped");
  order_.usual_days = .5;
  EXPECT_THAT(WhyChase(order_, 1, news_), HasSubstr("not shipped; not shipped after 5 days; nine "
                                                    "in ten of its supplier leave within half a "
                                                    "day"));
}

}  // namespace
}  // namespace plumblane
