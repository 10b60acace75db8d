// What the next order of a pair will be like. Against plain sums over single orders where all is
// known, and against the curve's own integral (tested in curve_test) where it is not.
#include "scoring/outlook.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "cohorts/buckets.h"
#include "scoring/fixture.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;

Outcome Delivered(double days) {
  return {Code::kDelivered,
          BucketOf(static_cast<int64_t>(days * static_cast<double>(kMillisPerDay))), 1};
}

// An order paid so long ago that everything is known of it.
Cohort Known(int days_ago, const std::vector<Outcome>& outcomes) {
  return Counted(kToday - days_ago, 1, outcomes);
}

MeasureSet Deliveries(const std::vector<Cohort>& cohorts) {
  MeasureSet measures;
  measures[Measure::kDelivery] = SeriesOf(cohorts);
  return measures;
}

Outlook Look(const MeasureSet& measures, const ScoreRules& rules = kNoDecay) {
  return OutlookOf(measures, Scope::kCounted, Asked(kToday), rules);
}

TEST(Outlook, MeansAreThoseOfTheOrdersOneByOneWhenAllArrived) {
  std::mt19937 random(7);
  std::vector<Cohort> cohorts;
  std::vector<double> days;
  for (int i = 0; i < 200; ++i) {
    const double took = std::uniform_real_distribution<double>(0.2, 38)(random);
    cohorts.push_back(Known(300 + static_cast<int>(random() % 50), {Delivered(took)}));
    days.push_back(BucketSeconds(Delivered(took).bucket) / kSecondsPerDay);
  }
  const Outlook outlook = Look(Deliveries(cohorts));
  EXPECT_NEAR(outlook.orders, 200, 1e-9);
  for (const int promised : {0, 3, 12, 25, 60}) {
    double waiting = 0, late = 0;
    int not_arrived = 0;
    for (const double took : days) {
      // Who takes longer than a lost order counts as arriving on the last day: nobody is lost.
      const double end = promised + kLostAfterDays + 0.5;
      waiting += std::min(took, end) / 200;
      late += std::max(0.0, std::min(took, end) - promised - 0.5) / 200;
      not_arrived += took > promised + 0.5 ? 1 : 0;
    }
    EXPECT_NEAR(WaitingDays(outlook, promised, 0), waiting, 5e-3) << promised;
    EXPECT_NEAR(LateDays(outlook, promised, 0), late, 5e-3) << promised;
    EXPECT_NEAR(outlook.not_arrived[static_cast<size_t>(promised)], not_arrived / 200.0, 0.011);
  }
}

TEST(Outlook, TheTableIsTheCurveItself) {
  std::mt19937 random(11);
  std::vector<Cohort> cohorts;
  for (int i = 0; i < 300; ++i) {
    const int ago = 3 + static_cast<int>(random() % 80);
    const double took = std::uniform_real_distribution<double>(1, 50)(random);
    cohorts.push_back(took < ago - 2 ? Known(ago, {Delivered(took)}) : Known(ago, {}));
  }
  const MeasureSet measures = Deliveries(cohorts);
  const ScoreRules rules{.half_life_days = 20};
  const Outlook outlook = Look(measures, rules);
  const Curve curve = TimesCurveOf(Measure::kDelivery, measures[Measure::kDelivery],
                                   Scope::kCounted, Asked(kToday), rules)
                          .curve;
  for (size_t day = 0; day < Outlook::kDays; ++day) {
    const double end = static_cast<double>(day) + 0.5;
    const auto millis = static_cast<int64_t>(end * static_cast<double>(kMillisPerDay));
    EXPECT_DOUBLE_EQ(outlook.not_arrived[day], curve.SurvivalAfter(BucketsWithin(millis) - 1));
    // A bucket on the border of two days stands for a moment on the other side of it.
    const double area = curve.AreaBetween(0, end * kSecondsPerDay, BucketSeconds) / kSecondsPerDay;
    EXPECT_NEAR(outlook.days_by[day], area, 0.01 * end) << day;
  }
}

TEST(Outlook, ALostOrderIsNeitherWaitedForNorLate) {
  std::vector<Cohort> cohorts;
  for (int i = 0; i < 90; ++i) cohorts.push_back(Known(300, {Delivered(6)}));
  for (int i = 0; i < 10; ++i) cohorts.push_back(Known(300, {}));
  const Outlook outlook = Look(Deliveries(cohorts));
  EXPECT_NEAR(LateDays(outlook, 8, 0.1), 0, 1e-9);
  EXPECT_NEAR(WaitingDays(outlook, 8, 0.1), 0.9 * 6, 0.06);
}

TEST(Outlook, WhatNobodyHasFollowedIsTakenToArriveOnTheLastDay) {
  // Ten orders, followed for about five days, none arrived.
  std::vector<Cohort> cohorts;
  for (int i = 0; i < 10; ++i) cohorts.push_back(Known(7, {}));
  const Outlook outlook = Look(Deliveries(cohorts));
  EXPECT_NEAR(WaitingDays(outlook, 8, 0.05), 0.95 * (8 + kLostAfterDays + 0.5), 1e-9);
  EXPECT_NEAR(LateDays(outlook, 8, 0.05), 0.95 * kLostAfterDays, 1e-9);
}

TEST(Outlook, LateByArrivalsIsTheShareThatHadNotArrived) {
  std::vector<Cohort> cohorts;
  for (int i = 0; i < 60; ++i) cohorts.push_back(Known(300, {Delivered(5)}));
  for (int i = 0; i < 40; ++i) cohorts.push_back(Known(300, {Delivered(14)}));
  const Outlook outlook = Look(Deliveries(cohorts));
  const auto late = LateByArrivals(outlook, 8);
  ASSERT_TRUE(late);
  EXPECT_NEAR(late->Mean(), 0.4, 1e-9);
  EXPECT_NEAR(late->a + late->b, 100, 1e-6);  // Greenwood without censoring: binomial
  EXPECT_FALSE(LateByArrivals(outlook, 2)) << "nobody had arrived: the jackknife says nothing";
  EXPECT_FALSE(LateByArrivals(outlook, 20)) << "all had arrived";
}

TEST(Outlook, FewOrdersOrAShortWatchSayNothingOfArrivals) {
  EXPECT_FALSE(
      LateByArrivals(Look(Deliveries({Known(300, {Delivered(5)}), Known(300, {Delivered(9)}),
                                      Known(300, {Delivered(12)})})),
                     8));
  std::vector<Cohort> young;
  for (int i = 0; i < 50; ++i) {
    young.push_back(i < 25 ? Known(8, {Delivered(3)}) : Known(8, {}));
  }
  EXPECT_FALSE(LateByArrivals(Look(Deliveries(young)), 10));
}

TEST(Outlook, KindsAddUpToTheDefects) {
  MeasureSet measures;
  measures[Measure::kDefect] = SeriesOf({Counted(
      kToday - 200, 50, {{Code::kQuality, 3, 2}, {Code::kDamaged, 5, 1}, {Code::kLost, 30, 1}})});
  const Outlook outlook = Look(measures);
  EXPECT_NEAR(outlook.defects, 4, 1e-9);
  EXPECT_NEAR(outlook.kinds[0], 1, 0.05);  // damaged
  EXPECT_NEAR(outlook.kinds[1], 2, 0.05);  // quality
  EXPECT_NEAR(outlook.kinds[6], 1, 0.05);  // lost
}

TEST(Outlook, ClaimsAreCountedAndTheirAnswersTimed) {
  MeasureSet measures = Deliveries({Counted(kToday - 100, 40), Counted(kToday - 101, 40)});
  measures[Measure::kResponse] =
      SeriesOf({Counted(kToday - 90, 2,
                        {{Code::kAnswered, BucketOf(2 * kMillisPerDay), 1},
                         {Code::kAnswered, BucketOf(4 * kMillisPerDay), 1}}),
                Counted(kToday - 90, 1)});
  const Outlook outlook = Look(measures);
  EXPECT_NEAR(outlook.disputes, 3, 1e-9);
  // The one never answered counts as answered on the last day that counts.
  EXPECT_NEAR(outlook.answer_days, (2 + 4 + kLongestAnswerDays) / 3.0, 0.05);
}

TEST(Outlook, AMixtureIsThatOfAllOrdersTogether) {
  std::mt19937 random(3);
  std::vector<Cohort> here, there;
  for (int i = 0; i < 100; ++i) {
    const double took = std::uniform_real_distribution<double>(1, 30)(random);
    (i % 3 == 0 ? here : there).push_back(Known(300, {Delivered(took)}));
  }
  Outlook mixed;
  MixInto(mixed, Look(Deliveries(here)));
  MixInto(mixed, Look(Deliveries(there)));
  std::vector<Cohort> all = here;
  all.insert(all.end(), there.begin(), there.end());
  const Outlook together = Look(Deliveries(all));
  EXPECT_NEAR(mixed.orders, together.orders, 1e-9);
  for (size_t day = 0; day < Outlook::kDays; ++day) {
    EXPECT_NEAR(mixed.not_arrived[day], together.not_arrived[day], 1e-9);
    EXPECT_NEAR(mixed.days_by[day], together.days_by[day], 1e-6);
  }
}

TEST(Outlook, WithoutOrdersNothingIsKnown) {
  const Outlook outlook = Look({});
  EXPECT_EQ(outlook.orders, 0);
  EXPECT_EQ(outlook.disputes, 0);
  EXPECT_EQ(outlook.defects, 0);
  EXPECT_FALSE(LateByArrivals(outlook, 8));
}

}  // namespace
}  // namespace plumblane
