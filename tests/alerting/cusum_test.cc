// Designs of charts and their steps. Values without another source were computed once with R, by
// solving the same equations with its general solver.
#include "alerting/cusum.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

namespace plumblane {
namespace {

std::vector<int64_t> Path(const Steps& steps, int orders, const std::vector<int>& hits) {
  std::vector<int64_t> path;
  int64_t level = 0;
  for (int order = 1; order <= orders; ++order) {
    const bool hit = std::find(hits.begin(), hits.end(), order) != hits.end();
    level = NextLevel(level, DayScore(steps, 1, hit, 0));
    EXPECT_EQ(level % kLevelUnit, 0);
    path.push_back(level / kLevelUnit);
  }
  return path;
}

int FirstAt(const std::vector<int64_t>& path, int64_t level) {
  for (size_t i = 0; i < path.size(); ++i) {
    if (path[i] >= level) return static_cast<int>(i) + 1;
  }
  return 0;
}

TEST(CusumTest, OrderByOrderAsByHand) {
  const auto path = Path({1, 6}, 30, {3, 8, 10, 12, 15, 16, 18, 21});
  EXPECT_EQ(path,
            (std::vector<int64_t>{0,  0,  5,  4,  3,  2,  1,  6,  5,  10, 9,  14, 13, 12, 17,
                                  22, 21, 26, 25, 24, 29, 28, 27, 26, 25, 24, 23, 22, 21, 20}));
  EXPECT_EQ(FirstAt(path, 19), 16);
}

TEST(CusumTest, AnEarlierHitAlarmsEarlier) {
  auto path = Path({1, 6}, 30, {3, 5, 8, 10, 12, 15, 16, 18, 21});
  EXPECT_EQ(FirstAt(path, 19), 12);
  path.resize(12);
  EXPECT_EQ(path, (std::vector<int64_t>{0, 0, 5, 4, 9, 8, 7, 12, 11, 16, 15, 20}));
}

// NIST/SEMATECH e-Handbook 6.3.2.3: 20 measurements around a target of 325, k = .3175, h = 4.1959,
// in units of .0025. Its table has 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04 for the last eight.
TEST(CusumTest, RunningSumOfAPublishedExample) {
  const double data[] = {324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125,
                         324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250,
                         327.825, 328.500, 326.675, 327.775, 326.875, 328.350};
  const double published[] = {3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035};
  int64_t level = 0;
  int first = 0;
  for (int i = 0; i < 20; ++i) {
    level = NextLevel(level, std::llround((data[i] - 325 - .3175) / .0025));
    if (first == 0 && static_cast<double>(level) * .0025 >= 4.1959) first = i + 1;
    if (i < 12) continue;
    EXPECT_NEAR(static_cast<double>(level) * .0025, published[i - 12], 1e-9) << i;
  }
  EXPECT_EQ(first, 14);
}

struct Row {
  double rate, odds_ratio;
  Steps steps;
  struct {
    int level;
    double to_false_alarm, to_hear;
  } at[4];  // for these targets:
};
constexpr double kTargets[] = {200, 500, 2000, 10000};
const Row kRows[] = {
    {.02,
     2,
     {1, 35},
     {{51, 203.49, 72.31}, {76, 500.81, 125.82}, {128, 2037.32, 249.27}, {199, 10010.06, 433.22}}},
    {.02,
     3,
     {1, 28},
     {{36, 203.94, 42.60}, {54, 511.57, 67.50}, {85, 2063.20, 113.89}, {124, 10407.30, 176.42}}},
    {.05,
     2,
     {1, 14},
     {{30, 205.82, 53.20}, {43, 524.74, 86.10}, {65, 2030.13, 147.78}, {95, 10527.18, 235.94}}},
    {.05,
     3,
     {2, 23},
     {{43, 214.77, 29.61}, {60, 530.10, 42.47}, {86, 2072.06, 64.80}, {118, 10036.55, 92.75}}},
    {.10,
     2,
     {4, 29},
     {{78, 204.49, 41.09}, {108, 511.71, 62.19}, {158, 2001.61, 100.04}, {222, 10015.61, 149.82}}},
    {.10,
     3,
     {1, 6},
     {{15, 245.95, 23.38}, {19, 564.71, 31.08}, {26, 2219.43, 44.93}, {35, 12019.61, 62.87}}},
    {.20,
     2,
     {4, 15},
     {{48, 207.77, 33.27}, {64, 513.62, 47.86}, {90, 2024.54, 73.16}, {123, 10489.57, 105.89}}},
    {.20,
     3,
     {4, 13},
     {{34, 200.11, 17.66}, {44, 507.89, 23.80}, {60, 2076.04, 33.78}, {79, 10788.99, 45.87}}},
    {.30,
     2,
     {8, 21},
     {{72, 201.29, 30.52}, {95, 501.09, 43.33}, {133, 2012.76, 65.36}, {180, 10303.35, 92.97}}},
    {.30,
     3,
     {8, 19},
     {{55, 205.49, 17.19}, {70, 524.03, 22.93}, {94, 2042.92, 31.75}, {123, 10274.22, 42.56}}},
};

TEST(CusumTest, FortyDesignsAsTabled) {
  for (const Row& row : kRows) {
    EXPECT_EQ(ChooseSteps(row.rate, row.odds_ratio), row.steps) << row.rate;
    for (int i = 0; i < 4; ++i) {
      SCOPED_TRACE(testing::Message() << row.rate << " " << row.odds_ratio << " " << kTargets[i]);
      const ChartDesign design = DesignChart(row.rate, row.odds_ratio, kTargets[i]);
      EXPECT_EQ(design.steps, row.steps);
      EXPECT_EQ(design.alarm_level, row.at[i].level);
      EXPECT_NEAR(design.orders_to_false_alarm, row.at[i].to_false_alarm, .00501);
      EXPECT_NEAR(design.orders_to_hear, row.at[i].to_hear, .00501);
      // The level is the smallest, and the warning comes ten times as often.
      EXPECT_LT(OrdersToAlarm(row.steps, design.alarm_level - 1, row.rate), kTargets[i]);
      EXPECT_GE(OrdersToAlarm(row.steps, design.warning_level, row.rate), kTargets[i] / 10);
      if (design.warning_level > 1) {
        EXPECT_LT(OrdersToAlarm(row.steps, design.warning_level - 1, row.rate), kTargets[i] / 10);
      }
    }
  }
  EXPECT_NEAR(OrdersToAlarm({1, 6}, 26, .1), 2219.42587945, 1e-7);
  EXPECT_NEAR(OrdersToAlarm({1, 6}, 26, WorsenedRate(.1, 3)), 44.9325024388, 1e-9);
  EXPECT_NEAR(OrdersToAlarm({4, 29}, 108, .1), 511.706914132, 1e-8);
}

// A head start would cost more false alarms than it gains.
TEST(CusumTest, HeadStartsAsTabled) {
  EXPECT_NEAR(OrdersToAlarm({4, 29}, 108, .1, 54), 455.3, .05);
  EXPECT_NEAR(OrdersToAlarm({4, 29}, 108, WorsenedRate(.1, 2), 54), 42.7, .05);
}

TEST(CusumTest, DesignsRunLongerThanLordensBound) {
  for (const Row& row : kRows) {
    for (const auto& at : row.at) {
      EXPECT_GE(at.to_false_alarm,
                std::exp(at.level * std::log(row.odds_ratio) / row.steps.per_hit));
    }
  }
}

TEST(CusumTest, TheGuessIsNearWhereItIsClaimedToBe) {
  int claimed = 0;
  for (const Row& row : kRows) {
    for (const auto& at : row.at) {
      if (row.steps.per_order != 1 || at.level <= 2 * row.steps.per_hit) continue;
      ++claimed;
      const double guess = GuessLevel(row.steps, row.rate, at.to_false_alarm);
      const double below = OrdersToAlarm(row.steps, static_cast<int>(guess), row.rate);
      const double above = OrdersToAlarm(row.steps, static_cast<int>(guess) + 1, row.rate);
      const double part = guess - std::floor(guess);
      EXPECT_NEAR((1 - part) * below + part * above, at.to_false_alarm, .04 * at.to_false_alarm)
          << row.rate << " " << at.level;
    }
  }
  EXPECT_GE(claimed, 10);
}

// Every design in range keeps its promise, also where no step ratio comes within 2 %.
TEST(CusumTest, DesignsInTheWholeRangeRunAsLongAsAsked) {
  for (const double rate : {.005, .013, .08, .35, .6, .603}) {
    for (const double odds_ratio : {1.5, 2.0, 3.0, 10.0}) {
      for (const double target : {200.0, 3e4, 1e7}) {
        const ChartDesign design = DesignChart(rate, odds_ratio, target);
        SCOPED_TRACE(testing::Message() << rate << " " << odds_ratio << " " << target);
        EXPECT_GT(design.steps.per_hit, design.steps.per_order);
        EXPECT_GE(design.orders_to_false_alarm, target);
        EXPECT_LT(OrdersToAlarm(design.steps, std::max(1, design.alarm_level - 1), rate), target);
        EXPECT_LT(design.orders_to_hear, design.orders_to_false_alarm);
      }
    }
  }
}

TEST(CusumTest, StepsAreTheSmallestWithinTwoPercent) {
  int near_misses = 0;
  for (double rate = .005; rate <= .6; rate += .0013) {
    for (const double odds_ratio : {1.5, 2.0, 3.0, 5.0}) {
      const double g =
          -std::log((1 - WorsenedRate(rate, odds_ratio)) / (1 - rate)) / std::log(odds_ratio);
      const auto off = [&](int a) { return std::fabs(a / (std::round(a / g) * g) - 1); };
      int smallest = 1;
      while (smallest < 16 && off(smallest) > .02) {
        near_misses += off(smallest) < .03;
        smallest *= 2;
      }
      const Steps steps = ChooseSteps(rate, odds_ratio);
      EXPECT_EQ(steps.per_order, smallest) << rate << " " << odds_ratio;
      EXPECT_EQ(steps.per_hit, std::round(smallest / g)) << rate << " " << odds_ratio;
    }
  }
  EXPECT_GT(near_misses, 50);
}

TEST(CusumTest, ClearingAsTabled) {
  const struct {
    double rate, odds_ratio, recovered, falsely;
    Steps steps;
    int level;  // 0: not tabled
  } rows[] = {{.05, 2, 155, 1125, {1, 14}, 0},   {.05, 3, 58.9, 455.535, {2, 23}, 0},
              {.10, 2, 87.2, 692, {4, 29}, 126}, {.10, 3, 33.5, 284, {1, 6}, 17},
              {.20, 2, 50.5, 403, {4, 15}, 0},   {.20, 3, 20.8, 194, {4, 13}, 0}};
  for (const auto& row : rows) {
    const ChartDesign design = DesignChart(row.rate, row.odds_ratio, 500);
    EXPECT_EQ(design.clear_level, row.level > 0 ? row.level : design.clear_level);
    const auto clear = [&](double rate) {
      return OrdersToClear(design.steps, design.clear_level, rate);
    };
    EXPECT_NEAR(clear(row.rate), row.recovered, row.recovered > 100 ? .501 : .0501);
    EXPECT_NEAR(clear(WorsenedRate(row.rate, row.odds_ratio)), row.falsely, .501);
  }
}

TEST(CusumTest, OrdersOfOneDayCountLessTheMoreTheyGoTogether) {
  const Steps steps{4, 29};
  EXPECT_EQ(DayScore(steps, 20, 5, 0), 16 * (29 * 5 - 4 * 20));
  EXPECT_EQ(DayScore(steps, 20, 5, .05), std::lround(16 * 65 / 1.95));
  EXPECT_EQ(DayScore(steps, 20, 1, .05), -std::lround(16 * 51 / 1.95));
  EXPECT_EQ(DayScore(steps, 1, 1, .5), 16 * 25);
  EXPECT_EQ(DayScore(steps, 0, 0, .5), 0);
}

TEST(CusumTest, ACacheGivesTheDesignOfTheGridWhateverWasAskedBefore) {
  ChartDesigns fresh, used;
  for (double rate = .005; rate <= .6; rate *= 1.37) used.For(rate, 2, 777);
  const ChartDesign first = used.For(.1, 3, 2000);
  EXPECT_EQ(first, fresh.For(.1, 3, 2000));
  EXPECT_EQ(&used.For(.1, 3, 2000), &used.For(.1, 3, 2000));
  EXPECT_GE(first.rate, .1);
  EXPECT_LT(first.rate, .1 * 1.02);
  EXPECT_EQ(first.orders_to_false_alarm, DesignChart(first.rate, 3, 2000).orders_to_false_alarm);
  EXPECT_DOUBLE_EQ(fresh.For(.005, 3, 200).rate, .005);
  EXPECT_GE(fresh.For(.6, 3, 1e7).orders_to_false_alarm, 1e7);
}

}  // namespace
}  // namespace plumblane
