// Watching one subject: when a chart is designed and by what, what an alert says, how it ends.
#include "alerting/watch.h"

#include <gtest/gtest.h>

#include <vector>

#include "alerting/baseline.h"
#include "alerting/watched.h"

namespace plumblane {
namespace {

// Ten orders a day, one of them late, but `bad` days from `from` with five of ten late.
ListSubject Steady(int days, int from = 0, int bad = 0) {
  ListSubject subject;
  for (int i = 0; i < days; ++i) {
    subject.days.push_back({kFirst + i, 10, i >= from && i < from + bad ? 5 : 1});
  }
  return subject;
}

TEST(WatchTest, NothingIsWatchedDuringTheFirstFourWeeks) {
  for (const int days : {1, 28}) {
    const Watch watch = Replayed(Steady(days, 0, days));
    EXPECT_FALSE(watch.plan());
    EXPECT_TRUE(watch.alerts().empty());
  }
  EXPECT_TRUE(Replayed(Steady(29)).plan());
  EXPECT_EQ(Replayed(Steady(29)).plan()->day, kFirst + 28);
  ListSubject nothing;
  ChartDesigns designs;
  EXPECT_FALSE(Replay(nothing, {}, {}, kFirst + 99, designs).plan());
}

TEST(WatchTest, AnAlertTellsItsEvidence) {
  const ListSubject subject = Steady(200, 150, 50);
  const Watch watch = Replayed(subject);
  ASSERT_EQ(watch.alerts().size(), 1u);
  const Alert& alert = watch.alerts()[0];
  EXPECT_EQ(watch.open(), &alert);
  EXPECT_EQ(alert.facts.changed, kFirst + 150);
  EXPECT_GT(alert.facts.opened, kFirst + 150);
  EXPECT_LT(alert.facts.opened, kFirst + 155);
  EXPECT_EQ(alert.facts.ending, Ending::kOpen);
  EXPECT_FALSE(alert.facts.closed);
  const int days = alert.facts.opened - alert.facts.changed + 1;
  EXPECT_EQ(alert.facts.orders, 10 * days);
  EXPECT_EQ(alert.facts.hits, 5 * days);
  EXPECT_EQ(alert.later_orders, 10 * (50 - days));
  EXPECT_EQ(alert.later_hits, 5 * (50 - days));
  EXPECT_DOUBLE_EQ(alert.RateSince(), .5);
  EXPECT_NEAR(alert.RateBefore(), .1, 1e-9);  // prior and days agree
  // The path rises by the same score a day until it reaches the level; the mirrored one stays at 0.
  ASSERT_EQ(alert.path.size(), 50u);
  const ChartDesign& chart = alert.plan.chart;
  const int64_t score = DayScore(chart.steps, 10, 5, 0);
  for (int i = 0; i < 50; ++i) {
    const ChartPoint& point = alert.path[static_cast<size_t>(i)];
    EXPECT_EQ(point.count.day, kFirst + 150 + i);
    EXPECT_EQ(point.level, i < days ? score * (i + 1) : 0);
  }
  EXPECT_GE(score * days, kLevelUnit * chart.alarm_level);
  EXPECT_LT(score * (days - 1), kLevelUnit * chart.alarm_level);
}

TEST(WatchTest, AnAlertClosesWhenTheRateIsBack) {
  const Watch watch = Replayed(Steady(220, 150, 10));
  ASSERT_EQ(watch.alerts().size(), 1u);
  const Alert& alert = watch.alerts()[0];
  EXPECT_EQ(alert.facts.ending, Ending::kReturned);
  EXPECT_EQ(watch.open(), nullptr);
  // Each good day speaks for normal by the opposite of its score; as many as reach the level.
  const int64_t level = kLevelUnit * alert.plan.chart.clear_level;
  const int64_t a_day = -DayScore(alert.plan.chart.steps, 10, 1, 0);
  const auto needed = static_cast<int32_t>((level + a_day - 1) / a_day);
  EXPECT_EQ(alert.facts.closed, kFirst + 159 + needed);
  EXPECT_EQ(watch.level(), 0);
}

TEST(WatchTest, AWarningComesBeforeAnAlert) {
  const ListSubject subject = Steady(200, 150, 50);
  ChartDesigns designs;
  Watch watch{WatchRules{}};
  bool warned = false;
  for (int i = 0; i < 200; ++i) {
    watch.Advance(subject, {}, kFirst + i, designs);
    EXPECT_FALSE(watch.warning() && (i < 150 || watch.open() != nullptr)) << i;
    warned |= watch.warning();
  }
  EXPECT_TRUE(warned);
}

TEST(WatchTest, TheDesignFollowsTheAgreedFalseAlarms) {
  // 3,640 orders a year: once in ten years is 36,400 orders, once in one year 3,640.
  const auto plan = [](double budget) {
    return *Replayed(Steady(500), {}, {.false_alarms_a_year = budget}).plan();
  };
  EXPECT_EQ(plan(.1).yearly_orders, 3640);
  EXPECT_GE(plan(.1).chart.orders_to_false_alarm, 36'400);
  EXPECT_LE(plan(.1).FalseAlarmsAYear(), .1);
  EXPECT_GT(plan(.1).FalseAlarmsAYear(), .05);
  EXPECT_LE(plan(1).FalseAlarmsAYear(), 1);
  EXPECT_LT(plan(1).DaysToHear(), plan(.1).DaysToHear());
  EXPECT_DOUBLE_EQ(plan(1).DaysToHear(), plan(1).chart.orders_to_hear / 10);
  EXPECT_EQ(TargetRun(3640, .1), 36'400);
  EXPECT_EQ(TargetRun(12, .1), kLeastTarget);
  EXPECT_EQ(TargetRun(0, .1), kLeastTarget);
  EXPECT_EQ(TargetRun(1e12, .1), kMostTarget);
}

TEST(BaselineTest, ChartIsDesignedAtTheEightyPercentQuantile) {
  // Beta(7, 83): computed once with R.
  const Beta baseline = BaselineOf({.1, 40}, {{{kFirst, 50, 3}}}, kFirst + 1, 1e9, 0);
  EXPECT_NEAR(baseline.a, 7, 1e-6);
  EXPECT_NEAR(baseline.b, 83, 1e-6);
  const double rate = DesignRate({7, 83});
  EXPECT_NEAR(rate, .1002053462, 1e-10);
  const ChartDesign chart = DesignChart(rate, 3, 2000);
  EXPECT_EQ(chart.steps, (Steps{1, 6}));
  EXPECT_EQ(chart.alarm_level, 26);
  EXPECT_NEAR(chart.orders_to_false_alarm, 2191.497938, 1e-5);
  EXPECT_NEAR(chart.orders_to_hear, 44.75417654, 1e-7);
  EXPECT_EQ(DesignRate({1, 9999}), kLeastDesignRate);
  EXPECT_EQ(DesignRate({99, 1}), kMostDesignRate);
}

TEST(BaselineTest, OlderDaysAndDaysThatGoTogetherCountLess) {
  const std::vector<DayCount> days = {{kFirst, 8, 8}, {kFirst + 10, 4, 0}, {kFirst + 12, 0, 0}};
  // Weights 1/4 and 1/2 with a half-life of 10 days.
  const Beta decayed = BaselineOf({.5, 2}, days, kFirst + 20, 10, 0);
  EXPECT_DOUBLE_EQ(decayed.a, 1 + 8 * .25);
  EXPECT_DOUBLE_EQ(decayed.b, 1 + 4 * .5);
  // deff 1 + 7/2 and 1 + 3/2.
  const Beta together = BaselineOf({.5, 2}, days, kFirst + 20, 10, .5);
  EXPECT_DOUBLE_EQ(together.a, 1 + 8 * .25 / 4.5);
  EXPECT_DOUBLE_EQ(together.b, 1 + 4 * .5 / 2.5);
}

TEST(BaselineTest, YearlyOrdersAreThoseOfTheLastYearOrOfTheLastMonthIfMore) {
  std::vector<DayCount> days;
  for (int i = 0; i < 400; ++i) days.push_back({kFirst + i, 2, 0});
  EXPECT_EQ(YearlyOrders(days, kFirst + 400), 728);
  EXPECT_EQ(YearlyOrders(days, kFirst + 28), 728);
  EXPECT_EQ(YearlyOrders(days, kFirst + 14), 13 * 28);
  EXPECT_EQ(YearlyOrders(days, kFirst + 500), 2 * 264);
  EXPECT_EQ(YearlyOrders({}, kFirst), 0);
}

// The plans of a subject day by day, and whether the chart was at rest the evening before.
TEST(WatchTest, ChartsAreDesignedAnewOnlyAtRestAndAtMostOnceAWeek) {
  int designs_seen = 0, weeks_passed_over = 0;
  for (uint64_t seed = 0; seed < 20; ++seed) {
    Draws draws(31, seed);
    ListSubject subject;
    Append(subject, 250, 4, .1, draws);
    Append(subject, 60, 4, .4, draws);
    Append(subject, 200, 4, .1, draws);
    ChartDesigns designs;
    Watch watch{WatchRules{}};
    for (int i = 0; i < 510; ++i) {
      const Watch before = watch;
      watch.Advance(subject, {}, kFirst + i, designs);
      if (!before.plan()) continue;
      const int since = (kFirst + i) - before.plan()->day;
      const bool at_rest = before.level() == 0 && before.open() == nullptr;
      const bool has_orders = subject.days[static_cast<size_t>(i)].orders > 0;
      const bool is_new = watch.plan()->day != before.plan()->day;
      EXPECT_EQ(is_new, at_rest && has_orders && since >= 7) << seed << " " << i;
      designs_seen += is_new;
      weeks_passed_over += !at_rest && since >= 7;
    }
  }
  EXPECT_GT(designs_seen, 200);
  EXPECT_GT(weeks_passed_over, 200);
}

TEST(WatchTest, TheGuardKeepsABeginningWorseningOutOfWhatIsNormal) {
  // Ten days of four in ten, not enough to hear by so dull a chart, then good days.
  ListSubject subject = Steady(300);
  for (int i = 285; i < 300; ++i) subject.days[static_cast<size_t>(i)].hits = 2;
  const WatchRules dull{.odds_ratio = 10, .false_alarms_a_year = 1e-3};
  subject.basis->guard_days = 28;
  EXPECT_NEAR(Replayed(subject, {}, dull).plan()->normal, .1, 1e-9);
  subject.basis->guard_days = 2;
  EXPECT_GT(Replayed(subject, {}, dull).plan()->normal, .102);
}

TEST(WatchTest, DaysOfAPastAlertAreNotNormal) {
  const Watch watch = Replayed(Steady(400, 150, 60));
  ASSERT_EQ(watch.alerts().size(), 1u);
  ASSERT_EQ(watch.alerts()[0].facts.ending, Ending::kReturned);
  // The good days at the end of the alert are left out with it, which changes nothing.
  EXPECT_NEAR(watch.plan()->normal, .1, 1e-9);
}

TEST(WatchTest, WithoutAnythingToGoByNothingIsWatched) {
  ListSubject subject = Steady(105);
  subject.unknown_until = kFirst + 100;
  EXPECT_FALSE(Replayed(subject).plan());
  // Asked on the 28th day and every seventh after it.
  subject.days.push_back({kFirst + 105, 10, 1});
  ASSERT_TRUE(Replayed(subject).plan());
  EXPECT_EQ(Replayed(subject).plan()->day, kFirst + 105);
  subject.basis.reset();
  EXPECT_FALSE(Replayed(subject).plan());
}

TEST(WatchTest, WhatIsKnownNoLongerLeavesTheOldDesign) {
  class Forgetful final : public WatchSubject {
   public:
    ListSubject list = Steady(200);
    std::optional<Day> FirstDay() const override { return list.FirstDay(); }
    std::optional<DesignBasis> BasisOn(Day day) const override {
      return day < kFirst + 60 ? list.BasisOn(day) : std::nullopt;
    }
    std::vector<DayCount> Counts(Day day, Day from, Day to) const override {
      return list.Counts(day, from, to);
    }
  } subject;
  ChartDesigns designs;
  const Watch watch = Replay(subject, {}, {}, kFirst + 199, designs);
  ASSERT_TRUE(watch.plan());
  EXPECT_EQ(watch.plan()->day, kFirst + 56);
  EXPECT_EQ(watch.last_day(), kFirst + 199);
}

TEST(WatchTest, AnAcceptedNormalIsWhatTheChartIsDesignedFor) {
  // Bad for good: three in ten from day 150 on.
  ListSubject subject = Steady(150);
  for (int i = 150; i < 400; ++i) subject.days.push_back({kFirst + i, 10, 3});
  const Watch unaccepted = Replayed(subject);
  ASSERT_EQ(unaccepted.alerts().size(), 1u);
  EXPECT_NE(unaccepted.open(), nullptr);
  const Day day = kFirst + 199;
  const Watch watch = Replayed(subject, {day});
  ASSERT_EQ(watch.alerts().size(), 1u);
  const Alert& alert = watch.alerts()[0];
  EXPECT_EQ(alert.facts.ending, Ending::kAccepted);
  EXPECT_EQ(alert.facts.closed, day);
  EXPECT_EQ(alert.facts.opened, unaccepted.alerts()[0].facts.opened);
  // Only days since the change: all at three in ten, against a prior of 40 orders at one in ten.
  EXPECT_GT(watch.plan()->normal, .28);
  // The day after, made of the 50 days from the change to the acceptance, none guarded.
  subject.days.resize(201);
  const Watch next_day = Replayed(subject, {day});
  EXPECT_EQ(next_day.plan()->day, day + 1);
  std::vector<DayCount> accepted(subject.days.begin() + 150, subject.days.begin() + 200);
  EXPECT_DOUBLE_EQ(next_day.plan()->normal, BaselineOf({.1, 40}, accepted, day + 1, 180, 0).Mean());
  // Until then there is no chart.
  subject.days.resize(200);
  EXPECT_FALSE(Replayed(subject, {day}).plan());
  EXPECT_EQ(Replayed(subject, {day}).open(), nullptr);
}

// As when a correction leaves the day without orders.
TEST(WatchTest, TheDayAfterAnAcceptanceIsDesignedForEvenWithoutOrders) {
  ListSubject subject = Steady(220, 150, 70);
  for (int i = 190; i < 205; ++i) subject.days[static_cast<size_t>(i)] = {kFirst + i, 0, 0};
  subject.days.resize(206);
  const Watch watch = Replayed(subject, {kFirst + 199});
  EXPECT_EQ(watch.alerts().back().facts.closed, kFirst + 199);
  EXPECT_EQ(watch.plan()->day, kFirst + 200);
}

TEST(WatchTest, AWorseningOfAnAcceptedNormalIsHeard) {
  ListSubject subject = Steady(150);
  for (int i = 150; i < 300; ++i) subject.days.push_back({kFirst + i, 10, 3});
  for (int i = 300; i < 340; ++i) subject.days.push_back({kFirst + i, 10, 7});
  const Watch watch = Replayed(subject, {kFirst + 199});
  ASSERT_EQ(watch.alerts().size(), 2u);
  EXPECT_EQ(watch.alerts()[1].facts.changed, kFirst + 300);
}

TEST(WatchTest, ANewNormalCanBeAcceptedBeforeAnAlert) {
  ListSubject subject = Steady(152, 150, 2);
  ASSERT_EQ(Replayed(subject).open(), nullptr);
  ASSERT_GT(Replayed(subject).level(), 0);
  const Day day = LastOf(subject);
  for (int i = 152; i < 160; ++i) subject.days.push_back({kFirst + i, 10, 5});
  const Watch watch = Replayed(subject, {day});
  const std::vector<DayCount> accepted(subject.days.begin() + 150, subject.days.begin() + 152);
  ASSERT_FALSE(watch.alerts().empty() && !watch.plan());
  EXPECT_DOUBLE_EQ(watch.plan()->normal, BaselineOf({.1, 40}, accepted, day + 1, 180, 0).Mean());
}

}  // namespace
}  // namespace plumblane
