// Scores of forecasts, worked out by hand and with R 4.2.2.
#include "scoring/accuracy.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

// .1 four times, .4 three times, .8 five times.
std::vector<Forecast> TwelveForecasts() {
  const bool happened[] = {0, 0, 0, 1, 0, 1, 0, 1, 1, 0, 1, 1};
  std::vector<Forecast> forecasts(12);
  for (int i = 0; i < 12; ++i) forecasts[i] = {i < 4 ? .1 : i < 7 ? .4 : .8, happened[i]};
  return forecasts;
}

// A. Murphy, J. Appl. Meteorol. 12 (1973) 595-600, of forecasts of our own; figures from R 4.2.2.
TEST(AccuracyTest, PartsOfTheBrierScore) {
  const BrierParts parts = *BrierOf(TwelveForecasts());
  ExpectSame({parts.score, parts.reliability, parts.resolution, parts.uncertainty},
             {.193333333333, .00861111111111, .0652777777778, .25});
  EXPECT_NEAR(parts.remainder, 0, 1e-15);
  ExpectSame(*parts.skill, .226666666667);
}

// R 4.2.2.
TEST(AccuracyTest, LogLossOfTheSame) { ExpectSame(*MeanLogLoss(TwelveForecasts()), .588218394755); }

TEST(AccuracyTest, ASureMistakeCostsAsMuchAsOneInTenThousand) {
  ExpectSame(LogLoss({0, true}), std::log(1e4));
  ExpectSame(LogLoss({1, false}), std::log(1e4));
  ExpectSame(LogLoss({1e-5, true}), std::log(1e4));
  ExpectSame(LogLoss({1, true}), -std::log1p(-1e-4));
  ExpectSame(LogLoss({.25, true}), std::log(4));
  ExpectSame(LogLoss({.25, false}), -std::log(.75));
}

TEST(AccuracyTest, WithoutForecastsThereIsNoScore) {
  EXPECT_FALSE(MeanLogLoss({}).has_value());
  EXPECT_FALSE(BrierOf({}).has_value());
}

TEST(AccuracyTest, WhereAllOrNothingHappensThereIsNoSkill) {
  const std::vector<Forecast> forecasts = {{.1, false}, {.2, false}};
  const BrierParts parts = *BrierOf(forecasts);
  EXPECT_EQ(parts.uncertainty, 0);
  EXPECT_FALSE(parts.skill.has_value());
  ExpectSame(parts.score, (.01 + .04) / 2);
}

TEST(AccuracyTest, OfBinsTheMeanForecastCountsAndTheRestIsSaid) {
  // Two bins: .1 .3 with one of two, .6 .8 1 with two of three.
  const std::vector<Forecast> forecasts = {
      {.1, false}, {.3, true}, {.6, false}, {.8, true}, {1, true}};
  const BrierParts parts = *BrierOf(forecasts, 2);
  ExpectSame(parts.reliability, (2 * .3 * .3 + 3 * std::pow(.8 - 2 / 3.0, 2)) / 5);
  ExpectSame(parts.resolution, (2 * .1 * .1 + 3 * std::pow(2 / 3.0 - .6, 2)) / 5);
  ExpectSame(parts.score, (.01 + .49 + .36 + .04 + 0) / 5);
  ExpectSame(parts.remainder,
             parts.score - (parts.reliability - parts.resolution + parts.uncertainty));
  EXPECT_GT(std::fabs(parts.remainder), .001);
}

TEST(AccuracyTest, BinsOfEqualForecastsAreExact) {
  const BrierParts apart = *BrierOf(TwelveForecasts());
  const BrierParts binned = *BrierOf(TwelveForecasts(), 10);
  ExpectSame({binned.reliability, binned.resolution}, {apart.reliability, apart.resolution});
  EXPECT_NEAR(binned.remainder, 0, 1e-15);
}

TEST(AccuracyTest, WithoutBinsThePartsAddUpWhateverTheForecasts) {
  naive::Random random(3);
  for (int round = 0; round < 50; ++round) {
    std::vector<Forecast> forecasts;
    for (int i = random.Below(40); i >= 0; --i) {
      forecasts.push_back({random.Below(9) / 8.0, random.Below(3) == 0});
    }
    EXPECT_NEAR(BrierOf(forecasts)->remainder, 0, 1e-14);
  }
}

// Blocks of days 0-4, 5-9, 15-19; their sums .3, -.5, -.4.
TEST(ComparisonTest, BlocksOfDaysGiveTheError) {
  const std::vector<JudgedLoss> losses = {
      {Day{0}, .5, .4}, {Day{4}, .6, .4}, {Day{5}, .1, .6}, {Day{19}, .2, .4}, {Day{15}, .2, .4}};
  const LossDifference difference = *CompareLosses(losses);
  EXPECT_EQ(difference.order_count, 5);
  EXPECT_EQ(difference.block_count, 3);
  ExpectSame(difference.mean, -.6 / 5);
  const double variance = (.5 * .5 + .3 * .3 + .2 * .2) / 2;  // about the mean of -.2
  ExpectSame(difference.standard_error, std::sqrt(variance * 3) / 5);
}

TEST(ComparisonTest, OfASingleBlockNothingIsKnown) {
  EXPECT_FALSE(CompareLosses({}).has_value());
  const std::vector<JudgedLoss> losses = {{Day{5}, .5, .4}, {Day{9}, .6, .4}};
  EXPECT_FALSE(CompareLosses(losses).has_value());
  EXPECT_TRUE(CompareLosses(losses, 2).has_value());
}

// Orders of one day that all go the same way are one piece of news, not many.
TEST(ComparisonTest, OrdersOfADayThatGoTogetherCountAsOne) {
  std::vector<JudgedLoss> losses;
  for (int day = 0; day < 100; ++day) {
    for (int i = 0; i < 20; ++i) losses.push_back({Day{day}, day / 5 % 2 == 0 ? .6 : .4, .5});
  }
  const LossDifference difference = *CompareLosses(losses);
  EXPECT_NEAR(difference.mean, 0, 1e-12);
  // Twenty blocks of +-.1: .1 sqrt(20/19) / sqrt(20); taken one by one it would be .0022.
  ExpectSame(difference.standard_error, .1 * std::sqrt(20 / 19.0 / 20));
}

}  // namespace
}  // namespace plumblane
