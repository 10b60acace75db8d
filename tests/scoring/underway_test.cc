// Orders under way and overdue: who is gone at a moment. One test per rule of underway.h.
#include "scoring/underway.h"

#include <gtest/gtest.h>

#include "scoring/fixture.h"

namespace plumblane {
namespace {

constexpr Day kPaid = kToday - 20;

int64_t Underway(const std::vector<Outcome>& outcomes, const Moment& moment) {
  return UnderwayCount({Counted(kPaid, 5, outcomes)}, Scope::kCounted, moment);
}

Moment Limit(Day underway_limit) {
  return {StartOf(kToday), StartOf(kToday) - kMillisPerDay, underway_limit};
}

// The moment whose horizon is `horizon`, with no event counted after the paid day.
Moment Horizon(Instant horizon) { return {StartOf(kToday), horizon, kPaid}; }

TEST(UnderwayTest, OrdersWithoutOutcomeAreUnderWay) {
  EXPECT_EQ(Underway({}, Limit(kToday - 1)), 5);
}

TEST(UnderwayTest, AClosingCountsUpToTheLimitsDay) {
  const std::vector<Outcome> closed = {{Code::kClosed, 7, 2}};
  EXPECT_EQ(Underway(closed, Limit(kPaid + 7)), 3);
  EXPECT_EQ(Underway(closed, Limit(kPaid + 6)), 5);
}

TEST(UnderwayTest, OrdersPaidAfterTheLimitAreNotUnderWayYet) {
  EXPECT_EQ(Underway({}, Limit(kPaid)), 5);
  EXPECT_EQ(Underway({}, Limit(kPaid - 1)), 0);
}

TEST(UnderwayTest, ALossHoldsOnceItsDayIsOverByTheHorizon) {
  const std::vector<Outcome> lost = {{Code::kLost, PackLostThenClosed(9, kNeverClosed), 1}};
  EXPECT_EQ(Underway(lost, Horizon(EndOf(kPaid + 9))), 4);
  EXPECT_EQ(Underway(lost, Horizon(EndOf(kPaid + 9) - 1)), 5);
}

TEST(UnderwayTest, LostThenClosedIsGoneAtWhicheverHolds) {
  const std::vector<Outcome> both = {{Code::kLost, PackLostThenClosed(9, 12), 1}};
  const Instant early = EndOf(kPaid);
  EXPECT_EQ(Underway(both, {StartOf(kToday), early, kPaid + 11}), 5);
  EXPECT_EQ(Underway(both, {StartOf(kToday), early, kPaid + 12}), 4);
  EXPECT_EQ(Underway(both, Horizon(EndOf(kPaid + 9))), 4);
}

TEST(UnderwayTest, NeverClosedIsNoDayNumber) {
  const std::vector<Outcome> lost = {{Code::kLost, PackLostThenClosed(9, kNeverClosed), 1}};
  const Day far = kPaid + 0x20000;
  EXPECT_EQ(Underway(lost, {StartOf(far), EndOf(kPaid), far}), 5);
}

TEST(UnderwayTest, CohortsAddUpWithoutDecay) {
  const Series series = {Counted(kToday - 900, 2), Counted(kToday - 5, 3), Counted(kToday, 7)};
  EXPECT_EQ(UnderwayCount(series, Scope::kCounted, Limit(kToday - 1)), 5);
  EXPECT_EQ(UnderwayCount({}, Scope::kCounted, Limit(kToday)), 0);
}

TEST(OverdueTest, OrdersAreOverdueOnceTheirPromisedDayIsOverByTheHorizon) {
  const Series series = {Counted(kPaid, 5, {{Code::kClosed, 0, 2}})};
  EXPECT_EQ(OverdueCount(series, Scope::kCounted, Horizon(EndOf(kPaid))), 3);
  EXPECT_EQ(OverdueCount(series, Scope::kCounted, Horizon(EndOf(kPaid) - 1)), 0);
}

TEST(OverdueTest, ClosingsAfterTheHorizonCountUpToTheLimit) {
  const Series series = {Counted(kPaid, 5, {{Code::kClosed, 4, 2}})};
  EXPECT_EQ(OverdueCount(series, Scope::kCounted, {StartOf(kToday), EndOf(kPaid), kPaid + 4}), 3);
  EXPECT_EQ(OverdueCount(series, Scope::kCounted, {StartOf(kToday), EndOf(kPaid), kPaid + 3}), 5);
}

TEST(OverdueTest, CohortsAfterTheLimitAreNotRead) {
  const Series series = {Counted(kPaid, 5)};
  EXPECT_EQ(OverdueCount(series, Scope::kCounted, {StartOf(kToday), EndOf(kPaid), kPaid - 1}), 0);
}

}  // namespace
}  // namespace plumblane
