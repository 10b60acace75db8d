// Targets read from a score: sure only where the whole interval says so.
#include "ranking/targets.h"

#include <gtest/gtest.h>

namespace plumblane {
namespace {

constexpr double kDay = 86'400;

RateEstimate Rate(double estimate, double low, double high, int64_t orders = 100) {
  RateEstimate rate;
  rate.estimate = estimate;
  rate.low = low;
  rate.high = high;
  rate.order_count = orders;
  return rate;
}

Standing OnTime(double target, const RateEstimate& rate) {
  ScoreEstimate score;
  score.on_time = rate;
  Targets targets;
  targets.on_time = target;
  return ReadTargets(targets, score).at(0).standing;
}

Standing Defect(double target, const RateEstimate& rate) {
  ScoreEstimate score;
  score.defect = rate;
  Targets targets;
  targets.defect = target;
  return ReadTargets(targets, score).at(0).standing;
}

TEST(Targets, AShareToKeepIsReadWithItsInterval) {
  EXPECT_EQ(OnTime(0.9, Rate(0.95, 0.92, 0.97)), Standing::kMet);
  EXPECT_EQ(OnTime(0.9, Rate(0.95, 0.88, 0.97)), Standing::kMetNotSure);
  EXPECT_EQ(OnTime(0.9, Rate(0.85, 0.80, 0.91)), Standing::kMissedNotSure);
  EXPECT_EQ(OnTime(0.9, Rate(0.80, 0.75, 0.85)), Standing::kMissed);
}

TEST(Targets, AShareToStayBelowIsReadTheOtherWayRound) {
  EXPECT_EQ(Defect(0.03, Rate(0.01, 0.005, 0.02)), Standing::kMet);
  EXPECT_EQ(Defect(0.03, Rate(0.02, 0.005, 0.04)), Standing::kMetNotSure);
  EXPECT_EQ(Defect(0.03, Rate(0.04, 0.02, 0.06)), Standing::kMissedNotSure);
  EXPECT_EQ(Defect(0.03, Rate(0.06, 0.04, 0.08)), Standing::kMissed);
}

TEST(Targets, FewOrdersSettleNothing) {
  EXPECT_EQ(OnTime(0.9, Rate(0.1, 0.05, 0.2, 4)), Standing::kTooFew);
  EXPECT_EQ(OnTime(0.9, RateEstimate{}), Standing::kTooFew);
}

TEST(Targets, TimesAreReadAtNineInTen) {
  Targets targets;
  targets.delivery_days = 10;
  ScoreEstimate score;
  const auto standing = [&] { return ReadTargets(targets, score).at(0).standing; };
  EXPECT_EQ(standing(), Standing::kTooFew);
  score.delivery.p90 = {9 * kDay, 8 * kDay, 9.5 * kDay};
  EXPECT_EQ(standing(), Standing::kMet);
  score.delivery.p90 = {9 * kDay, 8 * kDay, {}};
  EXPECT_EQ(standing(), Standing::kMetNotSure);
  score.delivery.p90 = {12 * kDay, 11 * kDay, {}};
  EXPECT_EQ(standing(), Standing::kMissed);
  score.delivery.p90.reset();
  score.delivery.longest_watch = 30 * kDay;
  score.delivery.entered_count = 50;
  EXPECT_EQ(standing(), Standing::kMissedNotSure) << "not reached though followed for longer";
  score.delivery.p90_too_few = true;
  EXPECT_EQ(standing(), Standing::kTooFew);
}

TEST(Targets, OnlyWhatWasAgreedIsRead) { EXPECT_TRUE(ReadTargets({}, {}).empty()); }

}  // namespace
}  // namespace plumblane
