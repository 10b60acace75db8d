// Published data with the figures of other people's code, a naive sum over single orders, and how
// often nothing is called something.
#include "review/compare_times.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace plumblane {
namespace {

struct Time {
  uint32_t at = 0;
  bool finished = true;
};
using Times = std::vector<Time>;

std::vector<Leavers> Count(const Times& times) {
  std::vector<Leavers> leavers;
  for (uint32_t bucket = 0; bucket < 200; ++bucket) {
    Leavers one{bucket, 0, 0};
    for (const Time& time : times) {
      if (time.at == bucket) ++(time.finished ? one.finished : one.censored);
    }
    if (one.finished + one.censored > 0) leavers.push_back(one);
  }
  return leavers;
}

TimesComparison Compare(const Times& first, const Times& second) {
  return CompareTimes(Count(first), Count(second));
}

Times Read(const std::vector<uint32_t>& finished, const std::vector<uint32_t>& censored) {
  Times times;
  for (const uint32_t at : finished) times.push_back({at, true});
  for (const uint32_t at : censored) times.push_back({at, false});
  return times;
}

// Weeks of remission with 6-mercaptopurine and with placebo: E. Freireich et al., Blood 21 (1963)
// 699-716, as E. Gehan, Biometrika 52 (1965) 203-223 has them.
const Times kTreated =
    Read({6, 6, 6, 7, 10, 13, 16, 22, 23}, {6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35});
const Times kPlacebo =
    Read({1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23}, {});

// Weeks until relapse of acute myelogenous leukaemia with and without maintenance: R. Miller,
// "Survival Analysis" (1981) p. 49, the data `aml` of R's package survival.
const Times kMaintained = Read({9, 13, 18, 23, 31, 34, 48}, {13, 28, 45, 161});
const Times kNotMaintained = Read({5, 5, 8, 8, 12, 23, 27, 30, 33, 43, 45}, {16});

double PValue(double chi) { return std::erfc(std::sqrt(chi / 2)); }

// R 4.2, survival 3.5: survdiff(Surv(time, status) ~ group, rho = 1)$chisq.
TEST(CompareTimesTest, PublishedDataGiveTheFiguresOfR) {
  EXPECT_NEAR(Compare(kTreated, kPlacebo).p_value, PValue(14.4571508187), 1e-13);
  EXPECT_TRUE(Compare(kTreated, kPlacebo).longer);
  EXPECT_NEAR(Compare(kMaintained, kNotMaintained).p_value, PValue(2.77927954475), 1e-11);
  EXPECT_TRUE(Compare(kMaintained, kNotMaintained).longer);
}

TEST(CompareTimesTest, TheOtherWayRoundTurnsTheAnswer) {
  const TimesComparison there = Compare(kTreated, kPlacebo), back = Compare(kPlacebo, kTreated);
  EXPECT_FALSE(back.longer);
  EXPECT_NEAR(there.p_value, back.p_value, 1e-15);
}

TEST(CompareTimesTest, WhereNothingTellsNothingIsCalled) {
  const TimesComparison nothing;
  EXPECT_EQ(Compare({}, {}), nothing);
  EXPECT_EQ(Compare(kTreated, {}), nothing);
  EXPECT_EQ(Compare(Read({}, {5, 6}), Read({}, {7})), nothing) << "nobody has finished";
  EXPECT_EQ(Compare(Read({}, {5}), Read({7, 9}, {})), nothing) << "gone before the first";
  EXPECT_EQ(Compare(Read({3, 3, 3}, {}), Read({3, 3}, {})), nothing) << "all at once";
  EXPECT_EQ(Compare(kTreated, kTreated).p_value, 1);
}

TEST(CompareTimesTest, ThoseThatWaitAreNoFastOnes) {
  const Times quick = Read({2, 2, 3, 3, 3, 4, 4, 5, 5, 6}, {});
  const Times waiting = Read({2, 3, 4}, {9, 9, 9, 9, 9, 9, 9});
  EXPECT_TRUE(Compare(waiting, quick).longer);
  EXPECT_LT(Compare(waiting, quick).p_value, .02);
}

Times Draw(std::mt19937& random, int count, double mean, double longest_watch) {
  Times times;
  for (int i = 0; i < count; ++i) {
    const double time = std::lognormal_distribution(std::log(mean), .5)(random);
    const double watch = std::uniform_real_distribution(2., longest_watch)(random);
    times.push_back({static_cast<uint32_t>(std::min(time, watch)), time <= watch});
  }
  return times;
}

double Naive(const Times& first, const Times& second) {
  double difference = 0, variance = 0;
  for (uint32_t at = 0; at < 200; ++at) {
    double d1 = 0, d2 = 0, y1 = 0, y2 = 0, waiting = 1;
    for (uint32_t before = 0; before < at; ++before) {
      double d = 0, y = 0;
      for (const Times* times : {&first, &second}) {
        for (const Time& one : *times) {
          d += one.finished && one.at == before;
          y += one.at >= before;
        }
      }
      if (y > 0) waiting *= 1 - d / y;
    }
    for (const Time& one : first) d1 += one.finished && one.at == at, y1 += one.at >= at;
    for (const Time& one : second) d2 += one.finished && one.at == at, y2 += one.at >= at;
    const double d = d1 + d2, y = y1 + y2;
    if (d == 0) continue;
    difference += waiting * (d1 - d * y1 / y);
    if (y > 1) variance += waiting * waiting * d * y1 * y2 * (y - d) / (y * y * (y - 1));
  }
  return variance > 0 ? PValue(difference * difference / variance) : 1;
}

TEST(CompareTimesTest, IsTheNaiveSumOverOrders) {
  std::mt19937 random(7);
  for (int round = 0; round < 40; ++round) {
    const Times first = Draw(random, 1 + round, 10, 40), second = Draw(random, 25, 12, 15);
    EXPECT_NEAR(Compare(first, second).p_value, Naive(first, second), 1e-9) << round;
  }
}

// Ten orders against thirty that were watched three times as long, without any difference: p at
// most .05 in 5 of 100 or so (standard error of 4,000 rounds: .35), and at most .01 in 1.
TEST(CompareTimesTest, CallsChanceWhatIsChanceHoweverLongEitherWasWatched) {
  std::mt19937 random(11);
  int at_5 = 0, at_1 = 0;
  constexpr int kRounds = 4000;
  for (int round = 0; round < kRounds; ++round) {
    const double p = Compare(Draw(random, 10, 10, 20), Draw(random, 30, 10, 60)).p_value;
    at_5 += p <= .05;
    at_1 += p <= .01;
  }
  EXPECT_NEAR(100. * at_5 / kRounds, 5, 1.5);
  EXPECT_NEAR(100. * at_1 / kRounds, 1, .7);
}

}  // namespace
}  // namespace plumblane
