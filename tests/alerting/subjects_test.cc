// How charts count cells, and early charts from cells to alerts.
#include "alerting/subjects.h"

#include <gtest/gtest.h>

#include <memory>
#include <vector>

#include "alerting/watched.h"
#include "cohorts/buckets.h"
#include "scoring/fixture.h"

namespace plumblane {
namespace {

constexpr Code kShipped = Code::kShipped, kLeft = Code::kLeft;

std::vector<DayCount> Count(ChartKind kind, const Series& series, Instant horizon,
                            std::optional<uint32_t> usual = {}, Scope scope = Scope::kCounted) {
  return CountDays(kind, series, scope, horizon, usual, kToday - 100, kToday + 100);
}

TEST(SubjectsTest, LateIsWhatWasNotDeliveredOnceItsDayIsOver) {
  const Series series =
      SeriesOf({Counted(kToday - 2, 5, {{Code::kDelivered, 0, 3}}), Excused(kToday - 2, 2),
                Excused(kToday - 1, 4), Counted(kToday, 9)});
  EXPECT_EQ(Count(ChartKind::kLate, series, StartOf(kToday)),
            (std::vector<DayCount>{{kToday - 2, 5, 2}}));
  EXPECT_EQ(Count(ChartKind::kLate, series, StartOf(kToday), {}, Scope::kWithExcused),
            (std::vector<DayCount>{{kToday - 2, 7, 4}, {kToday - 1, 4, 4}}));
  EXPECT_EQ(Count(ChartKind::kLate, series, EndOf(kToday) - 1).size(), 1u);
  EXPECT_EQ(Count(ChartKind::kLate, series, EndOf(kToday)).size(), 2u);
  EXPECT_EQ(CountDays(ChartKind::kLate, series, Scope::kCounted, EndOf(kToday), {}, kToday, kToday)
                .size(),
            1u);
}

TEST(SubjectsTest, DefectsCountByFourteenDaysOnceTheseAreOver) {
  const Series series = {Counted(kToday, 20,
                                 {{kLeft, 2, 3},
                                  {kLeft, 15, 1},
                                  {Code::kDamaged, 0, 1},
                                  {Code::kQuality, 14, 2},
                                  {Code::kDamaged, 15, 4}})};
  const Instant over = EndOf(kToday) + kClaimWatchDays * kMillisPerDay;
  EXPECT_TRUE(Count(ChartKind::kDefect, series, over - 1).empty());
  EXPECT_EQ(Count(ChartKind::kDefect, series, over), (std::vector<DayCount>{{kToday, 17, 3}}));
  // What comes to light later does not count.
  EXPECT_EQ(Count(ChartKind::kDefect, series, over + 90 * kMillisPerDay),
            (std::vector<DayCount>{{kToday, 17, 3}}));
}

TEST(SubjectsTest, NotShippedIsWhatTakesLongerThanUsual) {
  const uint32_t usual = BucketOf(50 * kMillisPerHour);
  const Series series = {Counted(kToday, 20,
                                 {{kShipped, usual - 5, 9},
                                  {kShipped, usual, 2},
                                  {kShipped, usual + 1, 4},
                                  {kLeft, usual, 1},
                                  {kLeft, usual + 9, 1},
                                  {Code::kFault, 0, 1}})};
  const Instant over = EndOf(kToday) + BucketEndMillis(usual);
  EXPECT_TRUE(Count(ChartKind::kNotShipped, series, over - 1, usual).empty());
  EXPECT_EQ(Count(ChartKind::kNotShipped, series, over, usual),
            (std::vector<DayCount>{{kToday, 19, 8}}));
  // A day on which all left, and whoever left is not watched.
  EXPECT_TRUE(Count(ChartKind::kNotShipped, {Counted(kToday, 2, {{kLeft, usual, 2}})}, over, usual)
                  .empty());
}

std::optional<uint32_t> UsualOf(const Series& series, Day day) {
  return UsualBucket(ChartKind::kNotShipped, {std::make_shared<const Series>(series)},
                     Scope::kCounted, Asked(day), 45);
}

TEST(SubjectsTest, UsualIsTheNinetiethPercentileKnownThen) {
  Series series;
  for (int i = 0; i < 30; ++i) {
    series.push_back(Counted(kToday - 40 + i, 10, {{kShipped, 500, 9}, {kShipped, 600, 1}}));
  }
  const auto usual = [&](Day day) { return UsualOf(series, day); };
  EXPECT_EQ(usual(kToday), 500u);
  EXPECT_FALSE(usual(kToday - 40));  // nothing known
  series.resize(3);
  for (Cohort& cohort : series) cohort.cell.counted.outcomes.resize(1);
  EXPECT_EQ(usual(kToday), 500u);
  for (Cohort& cohort : series) cohort.cell.counted.entered = 11;
  EXPECT_FALSE(usual(kToday));  // nine in eleven
}

TEST(SubjectsTest, UsualIsNotTakenFromAHandfulOfOrders) {
  for (const int orders : {4, 5}) {
    const Series series = {Counted(kToday - 40, orders, {{kShipped, 500, orders}})};
    EXPECT_EQ(UsualOf(series, kToday), orders < 5 ? std::nullopt : std::optional<uint32_t>(500));
  }
}

// Hours from payment to shipping, on average: a slow fortnight after two hundred days.
double HandlingHours(int day) { return day < 200 ? 30 : day < 215 ? 75 : 30; }

Series Handling(uint64_t seed, int days) {
  Draws draws(71, seed);
  Series series;
  for (int i = 0; i < days; ++i) {
    Cohort cohort = Counted(kFirst + i, draws.Count(3));
    if (cohort.cell.counted.entered == 0) continue;
    for (int64_t order = 0; order < cohort.cell.counted.entered; ++order) {
      const double hours = HandlingHours(i) * (.5 + draws.Unit());
      const auto millis = static_cast<int64_t>(hours * kMillisPerHour);
      cohort.cell.counted.Add(draws.Hit(.03) ? kLeft : kShipped, BucketOf(millis), 1);
    }
    series.push_back(cohort);
  }
  return series;
}

SeriesSubject Subject(ChartKind kind, const Series& series, Instant horizon) {
  return SeriesSubject({.kind = kind,
                        .parts = {std::make_shared<const Series>(series)},
                        .scope = Scope::kWithExcused,
                        .horizon = horizon,
                        .settle_delay = kMillisPerDay,
                        .half_life_days = 45,
                        .basis_on = [](Day) {
                          return DesignBasis{{.1, 10}, 0, 28};
                        }});
}

TEST(SubjectsTest, OrdersThatDoNotLeaveAsUsualAreHeardOf) {
  const Series series = Handling(1, 260);
  const Instant horizon = StartOf(kFirst + 260);
  ChartDesigns designs;
  const Watch watch =
      Replay(Subject(ChartKind::kNotShipped, series, horizon), {}, {}, DayOf(horizon) - 1, designs);
  ASSERT_EQ(watch.alerts().size(), 1u);
  const AlertFacts& alert = watch.alerts()[0].facts;
  EXPECT_NEAR(alert.changed.number, kFirst.number + 200, 2);
  EXPECT_LT(alert.opened, kFirst + 206);
  EXPECT_EQ(alert.ending, Ending::kReturned);
  EXPECT_NEAR(watch.alerts()[0].RateBefore(), .1, .03);
}

// The usual time moves with every design, and with it what is settled: still, what was said on
// each day is what a replay says afterwards.
TEST(SubjectsTest, EarlyChartsStepAsTheyReplay) {
  for (uint64_t seed = 0; seed < 8; ++seed) {
    const Series series = Handling(seed, 300);
    ChartDesigns designs;
    Watch watch{WatchRules{.false_alarms_a_year = 1}};
    std::vector<Day> accepted;
    for (int i = 0; i < 310; ++i) {
      const Instant horizon = StartOf(kFirst + i) + 5 * kMillisPerHour;
      const Day last = DayOf(horizon) - 1;
      // Only what had happened by then is there.
      const SeriesSubject subject = Subject(ChartKind::kNotShipped, series, horizon);
      watch.Advance(subject, accepted, last, designs);
      if (seed % 2 == 1 && watch.open() != nullptr && accepted.empty()) {
        accepted.push_back(*watch.last_day());
      }
      if (i % 23 == 0 || i == 309) {
        EXPECT_EQ(watch, Replay(subject, {.false_alarms_a_year = 1}, accepted, last, designs))
            << seed << " " << i;
      }
    }
    EXPECT_FALSE(watch.alerts().empty());
    EXPECT_TRUE(watch.plan());
  }
}

TEST(SubjectsTest, WithoutAUsualTimeThereIsNoEarlyChart) {
  // Half of the orders never ship.
  Series series;
  for (int i = 0; i < 100; ++i) {
    series.push_back(Counted(kFirst + i, 4, {{kShipped, 500, 2}}));
  }
  const SeriesSubject subject = Subject(ChartKind::kNotShipped, series, StartOf(kFirst + 100));
  ChartDesigns designs;
  EXPECT_FALSE(Replay(subject, {}, {}, kFirst + 99, designs).plan());
  // Once nearly all of them do there is one.
  for (int i = 100; i < 400; ++i) {
    series.push_back(Counted(kFirst + i, 4, {{kShipped, 500, 4}}));
  }
  const SeriesSubject later = Subject(ChartKind::kNotShipped, series, StartOf(kFirst + 400));
  EXPECT_TRUE(Replay(later, {}, {}, kFirst + 399, designs).plan());
  EXPECT_EQ(MeasureOf(ChartKind::kNotShipped), Measure::kHandling);
  EXPECT_EQ(MeasureOf(ChartKind::kNotDelivered), Measure::kDelivery);
}

}  // namespace
}  // namespace plumblane
