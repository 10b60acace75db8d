// Which slow lanes are watched together, and when alerts are one matter.
#include "alerting/pool.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "alerting/draws.h"
#include "alerting/shared_cause.h"

namespace plumblane {
namespace {

using By = LanePool::By;

Lane LaneOf(const char* origin, const char* destination) { return {origin, destination, ""}; }

TEST(PoolTest, SlowLanesPoolByDestinationThenByOrigin) {
  const std::vector<LaneVolume> lanes = {
      {LaneOf("VN", "DE"), 50}, {LaneOf("PL", "DE"), 900},                              // alone
      {LaneOf("TR", "DE"), 30}, {LaneOf("IN", "DE"), 20},                               // DE
      {LaneOf("VN", "SE"), 20}, {LaneOf("VN", "IE"), 20},  {LaneOf("VN", "NZ"), 49.9},  // VN
      {LaneOf("MX", "IE"), 5},  {LaneOf("IN", "SE"), 3}};                               // nothing
  const std::vector<LanePool> expected = {
      {By::kLane, "", {LaneOf("PL", "DE")}, 900},
      {By::kLane, "", {LaneOf("VN", "DE")}, 50},
      {By::kDestination, "DE", {LaneOf("IN", "DE"), LaneOf("TR", "DE")}, 50},
      {By::kOrigin, "VN", {LaneOf("VN", "IE"), LaneOf("VN", "NZ"), LaneOf("VN", "SE")}, 89.9},
      {By::kNothing, "", {LaneOf("IN", "SE"), LaneOf("MX", "IE")}, 8}};
  EXPECT_EQ(PoolLanes(lanes), expected);
  std::vector<LaneVolume> reversed(lanes.rbegin(), lanes.rend());
  EXPECT_EQ(PoolLanes(reversed).size(), expected.size());
  EXPECT_EQ(PoolLanes(reversed)[2].lanes, expected[2].lanes);
  EXPECT_TRUE(PoolLanes({}).empty());
}

TEST(PoolTest, EveryLaneIsWatchedOnceAndEveryWatchedPoolIsFastEnough) {
  for (uint64_t seed = 0; seed < 200; ++seed) {
    Draws draws(81, seed);
    std::vector<LaneVolume> lanes;
    for (int origin = 0; origin < 6; ++origin) {
      for (int destination = 0; destination < 5; ++destination) {
        if (draws.Hit(.4)) continue;
        lanes.push_back({LaneOf(("O" + std::to_string(origin)).c_str(),
                                ("D" + std::to_string(destination)).c_str()),
                         60 * draws.Unit()});
      }
    }
    std::map<Lane, int> seen;
    const auto pools = PoolLanes(lanes);
    for (const LanePool& pool : pools) {
      for (const Lane& lane : pool.lanes) {
        ++seen[lane];
        EXPECT_TRUE(pool.by != By::kDestination || lane.destination == pool.end);
        EXPECT_TRUE(pool.by != By::kOrigin || lane.origin == pool.end);
      }
      EXPECT_TRUE(pool.by == By::kNothing || pool.yearly_orders >= kFewestYearlyOrders);
      EXPECT_EQ(pool.by == By::kNothing, &pool == &pools.back() && pool.by == By::kNothing);
      EXPECT_TRUE(pool.by == By::kLane || pool.by == By::kNothing || pool.lanes.size() > 1);
    }
    EXPECT_EQ(seen.size(), lanes.size());
    for (const auto& [lane, count] : seen) EXPECT_EQ(count, 1);
  }
}

double ChanceOfAtLeast(int count, double mean) {
  double below = 0;
  for (int i = 0; i < count; ++i) below += std::exp(i * std::log(mean) - mean - std::lgamma(i + 1));
  return 1 - below;
}

TEST(SharedCauseTest, IsMoreThanChanceWouldHaveOnceInTenYears) {
  for (const double a_year : {.5, 5.0, 100.0, 1000.0, 20'000.0}) {
    const int fewest = FewestOfSharedCause(a_year);
    EXPECT_LT(364 * ChanceOfAtLeast(fewest, 2 * a_year / 364), .1) << a_year;
    EXPECT_TRUE(fewest == 2 || 364 * ChanceOfAtLeast(fewest - 1, 2 * a_year / 364) >= .1) << a_year;
  }
  EXPECT_EQ(FewestOfSharedCause(0), 2);
  EXPECT_GT(FewestOfSharedCause(1e9), 700);  // any number has an answer
  EXPECT_EQ(FewestOfSharedCause(.8), 2);     // eight lanes at one false alarm in ten years
}

TEST(SharedCauseTest, ChanceAloneIsRarelyTakenForACause) {
  // 1,000 lanes at one in ten years each, for 400 years.
  Draws draws(82);
  std::vector<Day> opened;
  constexpr int kYears = 400;
  for (int day = 0; day < kYears * 364; ++day) {
    for (int64_t i = draws.Count(100 / 364.0); i > 0; --i) opened.push_back(Day{day});
  }
  const double groups = static_cast<double>(GroupAlerts(opened, 100).size());
  EXPECT_LT(groups / kYears, .1);
  EXPECT_GT(groups, 0);
}

TEST(SharedCauseTest, AlertsOfNeighbouringDaysAreOneMatter) {
  // Four are needed at 30 a year.
  ASSERT_EQ(FewestOfSharedCause(30), 4);
  const auto group = [](std::vector<int> days) {
    std::vector<Day> opened;
    for (const int day : days) opened.push_back(Day{day});
    return GroupAlerts(opened, 30);
  };
  EXPECT_TRUE(group({}).empty());
  EXPECT_TRUE(group({5, 5, 5}).empty());
  EXPECT_TRUE(group({5, 5, 7, 7, 9, 9}).empty());
  EXPECT_EQ(group({9, 5, 1, 5, 5, 5}), (std::vector<SharedCause>{{Day{5}, Day{5}, {1, 3, 4, 5}}}));
  EXPECT_EQ(group({6, 5, 6, 5, 8}), (std::vector<SharedCause>{{Day{5}, Day{6}, {0, 1, 2, 3}}}));
  // Crowded pairs that share a day.
  EXPECT_EQ(group({5, 6, 6, 6, 7}), (std::vector<SharedCause>{{Day{5}, Day{7}, {0, 1, 2, 3, 4}}}));
  // Two days apart they are two.
  EXPECT_EQ(group({5, 5, 5, 5, 7, 7, 7, 7}).size(), 2u);
}

}  // namespace
}  // namespace plumblane
