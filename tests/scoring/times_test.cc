// Times: which orders a duration curve sees under a watch, and how near its quantiles come. One
// test per rule of times.h, worked out by hand; then the accuracy of the buckets.
#include "scoring/times.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <random>
#include <vector>

#include "cohorts/buckets.h"
#include "scoring/curve.h"
#include "scoring/decay.h"
#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

constexpr Code kDelivered = Code::kDelivered;
constexpr Day kOld = kToday - 100;

uint32_t Hours(int hours) { return BucketOf(hours * kMillisPerHour); }
double SecondsOf(int hours) { return BucketSeconds(Hours(hours)); }

TimesEstimate Times(const Series& series, const Moment& moment, const ScoreRules& rules = kNoDecay,
                    Scope scope = Scope::kCounted) {
  return TimesOf(Measure::kTransit, series, scope, moment, rules);
}

TEST(TimesTest, QuantilesOfFinishedOrders) {
  Series series = {Counted(kOld, 10)};
  for (int i = 1; i <= 10; ++i) series[0].cell.counted.Add(kDelivered, Hours(10 * i), 1);
  const TimesEstimate times = Times(series, Asked(kToday));
  EXPECT_EQ(times.entered_count, 10);
  EXPECT_EQ(times.finished_count, 10);
  EXPECT_TRUE(times.median_reached);
  EXPECT_EQ(times.median->seconds, SecondsOf(50));
  EXPECT_EQ(times.p90->seconds, SecondsOf(90));
  EXPECT_NEAR(times.median->seconds, 50 * 3600, .01 * 50 * 3600);
}

TEST(TimesTest, LimitsAreThoseOfTheCurve) {
  // Greenwood, log-log at 95 %, by hand: S = .9 (.473, .985), .4 (.123, .670), .3 (.071, .578),
  // .2 (.031, .475), .1 (.006, .358). The lower limit first falls to a half at .9 and to a tenth at
  // .3, the upper one to a half at .2 and never to a tenth.
  Series series = {Counted(kOld, 10)};
  for (int i = 1; i <= 10; ++i) series[0].cell.counted.Add(kDelivered, Hours(10 * i), 1);
  const TimesEstimate times = Times(series, Asked(kToday));
  EXPECT_EQ(*times.median->low, SecondsOf(10));
  EXPECT_EQ(*times.median->high, SecondsOf(80));
  EXPECT_EQ(*times.p90->low, SecondsOf(70));
  EXPECT_FALSE(times.p90->high.has_value());
}

// Ten orders one after another: at the median six are at risk, at the 90th percentile two.
TEST(TimesTest, AQuantileOfTooFewOrdersIsLeftOutAndSaysSo) {
  Series series = {Counted(kOld, 10)};
  for (int i = 1; i <= 10; ++i) series[0].cell.counted.Add(kDelivered, Hours(10 * i), 1);
  ScoreRules rules = kNoDecay;
  rules.fewest_at_risk = kFewestAtRisk;
  const TimesEstimate times = Times(series, Asked(kToday), rules);
  EXPECT_TRUE(times.median.has_value());
  EXPECT_FALSE(times.median_too_few);
  EXPECT_FALSE(times.p90.has_value());
  EXPECT_TRUE(times.p90_too_few);
  EXPECT_EQ(times.finished_count, 10);
  rules.fewest_at_risk = 6;
  EXPECT_TRUE(Times(series, Asked(kToday), rules).median.has_value());
  rules.fewest_at_risk = 6.01;
  const TimesEstimate strict = Times(series, Asked(kToday), rules);
  EXPECT_FALSE(strict.median.has_value());
  EXPECT_TRUE(strict.median_too_few);
  EXPECT_TRUE(strict.median_reached);
}

TEST(TimesTest, TheLongestWatchIsThatOfAnOrderStillOnItsWay) {
  const auto watch = [](const Series& series, Scope scope = Scope::kCounted) {
    return Times(series, Asked(kToday), kNoDecay, scope).longest_watch;
  };
  const double kTenDays = 10 * 86'400.0;
  const double hour = static_cast<double>(BucketEndMillis(Hours(1))) / kMillisPerSecond;
  const Cohort young = Counted(kToday - 12, 2);  // 10 days before the horizon
  EXPECT_EQ(watch({young}), kTenDays);
  // Orders that are done say nothing of what takes longer, however old they are.
  EXPECT_EQ(watch({Counted(kOld, 5, {{kDelivered, Hours(1), 5}}), young}), kTenDays);
  EXPECT_EQ(watch({Counted(kOld, 5, {{kDelivered, Hours(1), 5}})}), hour);
  EXPECT_EQ(watch({Counted(kOld, 1, {{Code::kLeft, Hours(1), 1}})}), hour);
  EXPECT_EQ(watch({Counted(kOld, 5, {{kDelivered, Hours(1), 4}}), young}), 98 * 86'400.0);
  EXPECT_EQ(watch({Excused(kToday - 12, 1)}), std::nullopt);
  EXPECT_EQ(watch({Excused(kToday - 12, 1)}, Scope::kWithExcused), kTenDays);
  EXPECT_EQ(watch({}), std::nullopt);
  EXPECT_EQ(watch({Counted(kToday - 2, 1)}), 0);
  EXPECT_EQ(watch({Counted(kToday - 1, 1)}), std::nullopt);
}

TEST(TimesTest, AQuantileThatIsNotReachedIsNotTooFew) {
  ScoreRules rules = kNoDecay;
  rules.fewest_at_risk = kFewestAtRisk;
  const Series series = {Counted(kOld, 3, {{kDelivered, Hours(10), 1}})};
  const TimesEstimate times = Times(series, Asked(kToday), rules);
  EXPECT_FALSE(times.median || times.median_reached || times.median_too_few || times.p90_too_few);
  EXPECT_EQ(Times({}, Asked(kToday), rules), TimesEstimate{});
}

TEST(TimesTest, UnlessAskedNoQuantileIsTooFew) {
  const TimesEstimate times =
      Times({Counted(kOld, 1, {{kDelivered, Hours(10), 1}})}, Asked(kToday));
  EXPECT_TRUE(times.median && times.p90);
  EXPECT_FALSE(times.median_too_few || times.p90_too_few);
}

TEST(TimesTest, AnOutcomeIsKnownOnceItsBucketHasEnded) {
  const uint32_t bucket = Hours(48);
  const Series series = {Counted(kToday, 1, {{kDelivered, bucket, 1}})};
  const TimesEstimate known = Times(series, WatchedFor(kToday, BucketEndMillis(bucket)));
  EXPECT_EQ(known.finished_count, 1);
  EXPECT_TRUE(known.median_reached);
  const TimesEstimate before = Times(series, WatchedFor(kToday, BucketEndMillis(bucket) - 1));
  EXPECT_EQ(before.entered_count, 1);
  EXPECT_EQ(before.finished_count, 0);
  EXPECT_FALSE(before.median_reached);
}

TEST(TimesTest, OrdersUnderWayAreAtRiskInTheBucketsThatHaveEnded) {
  // One order of an old cohort took 48 h. One of today's is at risk then, or not yet.
  const uint32_t bucket = Hours(48);
  const auto share = [&](int64_t watch) {
    const Series series = {Counted(kOld, 1, {{kDelivered, bucket, 1}}), Counted(kToday, 2)};
    return Times(series, WatchedFor(kToday, watch)).median_reached;
  };
  EXPECT_FALSE(share(BucketEndMillis(bucket)));
  EXPECT_TRUE(share(BucketEndMillis(bucket) - 1));
}

TEST(TimesTest, OrdersUnderWayAreCensoredNotFinished) {
  const Series series = {Counted(kOld, 3, {{kDelivered, Hours(20), 1}})};
  const TimesEstimate times = Times(series, Asked(kToday));
  EXPECT_EQ(times.entered_count, 3);
  EXPECT_EQ(times.finished_count, 1);
  EXPECT_FALSE(times.median_reached);
  EXPECT_FALSE(times.median || times.p90);
}

TEST(TimesTest, HalfIsReachedByExactlyHalf) {
  const Series series = {
      Counted(kOld, 6, {{kDelivered, Hours(20), 1}, {kDelivered, Hours(30), 2}})};
  EXPECT_EQ(Times(series, Asked(kToday)).median->seconds, SecondsOf(30));
}

TEST(TimesTest, AnOrderThatLeftIsAtRiskInItsOwnBucket) {
  const auto reached = [](uint32_t left) {
    const Series series = {Counted(kOld, 3, {{kDelivered, Hours(48), 1}, {Code::kLeft, left, 1}})};
    return Times(series, Asked(kToday)).median_reached;  // 1 of 3 or 1 of 2
  };
  EXPECT_FALSE(reached(Hours(48)));
  EXPECT_TRUE(reached(Hours(48) - 1));
}

TEST(TimesTest, AnOrderThatLeftIsEnteredAndNotFinished) {
  const TimesEstimate times = Times({Counted(kOld, 2, {{Code::kLeft, 300, 1}})}, Asked(kToday));
  EXPECT_EQ(times.entered_count, 2);
  EXPECT_EQ(times.finished_count, 0);
}

TEST(TimesTest, AnOrderThatLeavesLaterIsStillAtRisk) {
  // As of 48 h after its day the second order had not left yet.
  const uint32_t bucket = Hours(24);
  const Series series = {
      Counted(kToday, 2, {{kDelivered, bucket, 1}, {Code::kLeft, Hours(90), 1}})};
  const TimesEstimate times = Times(series, WatchedFor(kToday, 48 * kMillisPerHour));
  EXPECT_TRUE(times.median_reached);
  EXPECT_FALSE(times.p90.has_value());
}

TEST(TimesTest, OnlyCohortsWhoseDayIsOverAreCounted) {
  const Series series = {Counted(kToday - 2, 3), Counted(kToday - 1, 5)};
  EXPECT_EQ(Times(series, Asked(kToday)).entered_count, 3);
  EXPECT_EQ(Times({}, Asked(kToday)), TimesEstimate{});
}

TEST(TimesTest, FaultsAreNoOrders) {
  const Series series = {Counted(kOld, 1, {{kDelivered, Hours(20), 1}, {Code::kFault, 0, 9}})};
  const TimesEstimate times = Times(series, Asked(kToday));
  EXPECT_EQ(times.entered_count, 1);
  EXPECT_EQ(times.finished_count, 1);
  EXPECT_EQ(times.median->seconds, SecondsOf(20));
}

TEST(TimesTest, LessThanAMinuteIsZero) {
  const TimesEstimate times = Times({Counted(kOld, 1, {{kDelivered, 0, 1}})}, Asked(kToday));
  EXPECT_EQ(times.median->seconds, 0);
}

TEST(TimesTest, RecentOrdersCountMore) {
  // Two slow ones four half-lives older than one fast one.
  const Series series = {Counted(kToday - 60, 2, {{kDelivered, Hours(90), 2}}),
                         Counted(kToday - 20, 1, {{kDelivered, Hours(10), 1}})};
  EXPECT_EQ(Times(series, Asked(kToday), {.half_life_days = 10}).median->seconds, SecondsOf(10));
  EXPECT_EQ(Times(series, Asked(kToday)).median->seconds, SecondsOf(90));
}

TEST(TimesTest, TheCurveOfPartsIsThatOfTheirSum) {
  const Moment moment = Asked(kToday);
  const ScoreRules rules{.half_life_days = 20};
  Series sum;
  std::vector<std::shared_ptr<const Series>> parts;
  for (const int step : {1, 3, 7}) {
    Series part;
    // The third has no orders of the last weeks.
    for (Day day = kToday - 150; day < kToday - 2 * step * step; day = day + step) {
      const auto bucket = static_cast<uint32_t>(500 + day.number % 50);
      part.push_back(Counted(day, 6, {{Code::kDelivered, bucket, 3}, {Code::kLeft, 520, 2}}));
    }
    AddSeries(sum, part);
    parts.push_back(std::make_shared<const Series>(std::move(part)));
  }
  for (const Scope scope : {Scope::kCounted, Scope::kWithExcused}) {
    const TimesCurve whole = TimesCurveOf(Measure::kTransit, sum, scope, moment, rules);
    const TimesCurve added = TimesCurveOf(Measure::kTransit, parts, scope, moment, rules);
    EXPECT_EQ(added.entered_count, whole.entered_count);
    EXPECT_EQ(added.finished_count, whole.finished_count);
    EXPECT_EQ(added.longest_watch_millis, whole.longest_watch_millis);
    ASSERT_EQ(added.curve.steps.size(), whole.curve.steps.size());
    ASSERT_GT(whole.curve.steps.size(), 40u);
    for (size_t i = 0; i < whole.curve.steps.size(); ++i) {
      const CurveStep &one = added.curve.steps[i], &other = whole.curve.steps[i];
      EXPECT_EQ(one.bucket, other.bucket);
      EXPECT_NEAR(one.survival, other.survival, 1e-12);
      EXPECT_NEAR(one.spread, other.spread, 1e-12);
      EXPECT_NEAR(one.at_risk, other.at_risk, 1e-9);
    }
  }
  parts.clear();
  EXPECT_TRUE(
      TimesCurveOf(Measure::kTransit, parts, Scope::kCounted, moment, rules).curve.steps.empty());
}

TEST(TimesTest, TimesOfASupplierLongIdleStay) {
  const Series series = {
      Counted(kOld, 5, {{kDelivered, Hours(20), 2}, {kDelivered, Hours(50), 3}})};
  const ScoreRules rules{.half_life_days = 1};
  EXPECT_EQ(Times(series, Asked(kToday), rules), Times(series, Asked(kToday + 3000), rules));
  EXPECT_TRUE(Times(series, Asked(kToday + 3000), rules).median->low.has_value());
}

TEST(TimesTest, EachMeasureFinishesByItsOwnCode) {
  const auto finished = [](Measure measure, Code code) {
    const Series series = {Counted(kOld, 1, {{code, Hours(20), 1}})};
    return TimesOf(measure, series, Scope::kCounted, Asked(kToday), kNoDecay).finished_count;
  };
  EXPECT_EQ(finished(Measure::kHandling, Code::kShipped), 1);
  EXPECT_EQ(finished(Measure::kTransit, Code::kDelivered), 1);
  EXPECT_EQ(finished(Measure::kDelivery, Code::kDelivered), 1);
  EXPECT_EQ(finished(Measure::kResponse, Code::kAnswered), 1);
  EXPECT_EQ(finished(Measure::kHandling, Code::kDelivered), 0);
}

TEST(TimesTest, ExcusedOrdersCountForALaneAndNotForASupplier) {
  const Series series = SeriesOf({Counted(kOld, 1, {{kDelivered, Hours(10), 1}}),
                                  Excused(kOld, 2, {{kDelivered, Hours(90), 2}})});
  EXPECT_EQ(Times(series, Asked(kToday)).median->seconds, SecondsOf(10));
  const TimesEstimate lane = Times(series, Asked(kToday), kNoDecay, Scope::kWithExcused);
  EXPECT_EQ(lane.entered_count, 3);
  EXPECT_EQ(lane.finished_count, 3);
  EXPECT_EQ(lane.median->seconds, SecondsOf(90));
}

// C. Masson, J. Rim, H. Lee, "DDSketch", PVLDB 12(12) (2019) 2195-2205: gamma, and what the buckets
// of a minute, an hour, a day and a fortnight stand for (computed with R 4.2.2).
TEST(BucketTest, IndexAndRepresentative) {
  ExpectSame(kBucketGamma, 1.02020202020);
  ExpectSame(std::log(kBucketGamma), .0200006667067);
  const struct {
    int64_t seconds;
    uint32_t bucket;
    double stands_for;
  } rows[] = {{60, 205, 59.7450498101},
              {3600, 410, 3605.52623921},
              {86'400, 569, 86710.3922657},
              {1'209'600, 701, 1215197.3208}};
  for (const auto& row : rows) {
    EXPECT_EQ(BucketOf(row.seconds * 1000), row.bucket);
    ExpectSame(BucketSeconds(row.bucket), row.stands_for);
  }
}

struct Weighed {
  double value;
  double weight;
};

double SketchQuantile(const std::vector<Weighed>& items, double q) {
  RiskSet risk(kLastBucket + 1);
  for (const Weighed& item : items) {
    const double index = std::ceil(std::log(item.value) / std::log(kBucketGamma) - 1e-12);
    risk.AddEvents(static_cast<uint32_t>(index), 1, item.weight);
  }
  return BucketSeconds(risk.Estimate().QuantileAt(q)->bucket);
}

double ExactQuantile(std::vector<Weighed> items, double q) {
  std::sort(items.begin(), items.end(),
            [](const Weighed& a, const Weighed& b) { return a.value < b.value; });
  double total = 0, sum = 0;
  for (const Weighed& item : items) total += item.weight;
  for (const Weighed& item : items) {
    if ((sum += item.weight) >= q * total * (1 - 1e-12)) return item.value;
  }
  return items.back().value;
}

// Quantiles by hand, representatives computed with R 4.2.2.
TEST(BucketTest, WeightedQuantilesAndTheirRetraction) {
  std::vector<Weighed> items;
  for (int i = 1; i <= 10; ++i) items.push_back({10.0 * i, static_cast<double>(i)});
  const struct {
    double q, exact, sketch;
  } rows[] = {{.1, 30, 30.2671713387}, {.5, 70, 70.1118393914}, {.9, 100, 100.494567709}};
  for (const auto& row : rows) {
    EXPECT_EQ(ExactQuantile(items, row.q), row.exact);
    ExpectSame(SketchQuantile(items, row.q), row.sketch);
  }
  items.pop_back();
  ExpectSame(SketchQuantile(items, .5), 70.1118393914);
  ExpectSame(SketchQuantile(items, .9), 89.1303293364);
}

// Simulation; what must hold is Masson, Rim and Lee's bound. 5 days by e^(.6 z), half-life 30.
TEST(BucketTest, QuantilesOfALargeSampleAreWithinOnePercent) {
  naive::Random random(7);
  std::vector<Weighed> items;
  for (int i = 0; i < 100'000; ++i) {
    const double normal = std::sqrt(-2 * std::log(1 - random.Unit())) *
                          std::cos(2 * std::numbers::pi * random.Unit());
    items.push_back({432'000 * std::exp(.6 * normal), DecayWeight(random.Below(121), 30)});
  }
  for (const double q : {.1, .5, .9, .99}) {
    const double exact = ExactQuantile(items, q);
    EXPECT_NEAR(SketchQuantile(items, q), exact, .01 * exact * (1 + 1e-9)) << q;
  }
}

// Counts of cohorts in any order, of two series at once, against the sum of both without decay.
TEST(TimesTest, UndecayedCountsAddUpToTheSameCurve) {
  std::mt19937 draw(7);
  const Moment moment = Asked(kToday);
  for (int round = 0; round < 50; ++round) {
    Series series[2];
    TimesCount counts[2];
    for (size_t i = 0; i < 2; ++i) {
      Series& one = series[i];
      for (int day = 0; day < 30; ++day) {
        Cohort cohort{kToday - 40 + day, {}};
        for (Tally* tally : {&cohort.cell.counted, &cohort.cell.excused}) {
          tally->entered = draw() % 6;
          for (int64_t i = 0; i < tally->entered; ++i) {
            const Code code = draw() % 5 == 0 ? Code::kLeft : kDelivered;
            if (draw() % 4 != 0) tally->Add(code, Hours(1 + static_cast<int>(draw() % 900)), 1);
          }
        }
        one.push_back(cohort);
      }
      for (auto cohort = one.rbegin(); cohort != one.rend(); ++cohort) {
        for (const Tally* tally : {&cohort->cell.counted, &cohort->cell.excused}) {
          // Into both, so that buckets are shared by some and not by others when they add up.
          counts[draw() % 2].Add(Measure::kTransit, *tally, WatchMillis(cohort->day, moment));
        }
      }
    }
    AddSeries(series[0], series[1]);
    counts[0].Add(counts[1]);
    EXPECT_EQ(counts[0].Estimate(kFewestAtRisk),
              Times(series[0], moment, {.half_life_days = 1e300, .fewest_at_risk = kFewestAtRisk},
                    Scope::kWithExcused));
  }
}

}  // namespace
}  // namespace plumblane
