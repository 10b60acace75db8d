// Decay: weights by half-life, and the sums taken with them, against published and recomputed
// figures. The stream of the paper is transcribed from a secondary source (B. Xu's dissertation,
// ch. 5); the figures for it were recomputed with R 4.2.2 unless said otherwise.
#include "scoring/decay.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "scoring/fixture.h"

namespace plumblane {
namespace {

struct Item {
  int time;
  double value;
};

// G. Cormode, V. Shkapenyuk, D. Srivastava, B. Xu, "Forward Decay", ICDE 2009, 138-149: the example
// stream, with landmark 100, read at 110.
const std::vector<Item> kPaperStream = {{105, 4}, {107, 8}, {103, 3}, {108, 6}, {104, 4}};

WeightedSums Decayed(const std::vector<Item>& stream, int now, double half_life) {
  WeightedSums sums;
  for (const Item& item : stream) sums.Add(DecayWeight(now - item.time, half_life), 1, item.value);
  return sums;
}

TEST(DecayTest, SumsOfThePapersExampleUnderItsOwnWeights) {
  WeightedSums sums;
  std::vector<double> weights;
  for (const Item& item : kPaperStream) {
    weights.push_back(std::pow(item.time - 100, 2) / std::pow(110 - 100, 2));
    sums.Add(weights.back(), 1, item.value);
  }
  ExpectSame(weights, {.25, .49, .09, .64, .16});
  ExpectSame(sums.w1, 1.63);  // published, from memory: 1.63, 9.67, 5.93; more digits from R
  ExpectSame(sums.s, 9.67);
  ExpectSame(sums.Mean(), 5.93251533742);
}

// R 4.2.2, here and in the next two; a half-life of 5.
TEST(DecayTest, SumsOfThePapersStreamUnderAHalfLife) {
  const WeightedSums sums = Decayed(kPaperStream, 110, 5);
  ExpectSame({sums.w1, sums.w2, sums.s}, {2.73181666192, 1.59267632434, 14.7030698941});
  ExpectSame(sums.Mean(), 5.38215836336);
  ExpectSame(sums.EffectiveSize(), 4.68571181746);
}

TEST(DecayTest, TakingAnItemOutLeavesTheSumsOfTheOthersInAnyOrder) {
  std::vector<Item> rest = {{103, 3}, {104, 4}, {105, 4}, {108, 6}};
  do {
    const WeightedSums sums = Decayed(rest, 110, 5);
    ExpectSame({sums.w1, sums.s, sums.w2}, {2.07206270653, 9.42503825101, 1.15740104269});
  } while (std::next_permutation(rest.begin(), rest.end(),
                                 [](Item a, Item b) { return a.time < b.time; }));
}

TEST(DecayTest, ThreeHalfLivesLaterAnEighthIsLeft) {
  const WeightedSums before = Decayed(kPaperStream, 110, 5);
  const WeightedSums after = Decayed(kPaperStream, 125, 5);
  ExpectSame({after.w1, after.w2}, {0.34147708274, 0.0248855675677});
  ExpectSame({after.w1, after.w2}, {before.w1 / 8, before.w2 / 64});
}

// By hand; the last two from R: 2^(-45/30), 2^(-1/720).
TEST(DecayTest, WeightsByAge) {
  EXPECT_EQ(DecayWeight(0, 30), 1);
  EXPECT_EQ(DecayWeight(30, 30), .5);
  EXPECT_EQ(DecayWeight(60, 30), .25);
  ExpectSame(DecayWeight(45, 30), .35355339059327379);
  ExpectSame(DecayWeight(1 / 24.0, 30), .99903775883378343);
}

// Two half-lives asked in turns, near and beyond the days that are kept.
TEST(DecayTest, KeptWeightsAreTheComputedOnesBitForBit) {
  const DayWeights month(30), day(1 / 24.0), again(30);
  for (int round = 0; round < 2; ++round) {
    for (const int age : {0, 1, 30, 399, 2046, 2047, 2048, 2049, 30'000}) {
      EXPECT_EQ(month.Of(age), DecayWeight(age, 30)) << age;
      EXPECT_EQ(day.Of(age), DecayWeight(age, 1 / 24.0)) << age;
      EXPECT_EQ(again.Of(age), DecayWeight(age, 30)) << age;
    }
  }
}

// R: sum(2^(-(0:399)/30)) and so on; the limit of the effective size as a closed form.
TEST(DecayTest, SteadyArrivalsSaturate) {
  WeightedSums sums;
  for (int age = 0; age < 400; ++age) sums.Add(DecayWeight(age, 30), 1, 0);
  ExpectSame(sums.w1, 43.778534624619);
  for (int age = 400; age < 3650; ++age) sums.Add(DecayWeight(age, 30), 1, 0);
  ExpectSame(sums.w1, 43.782776618373);
  ExpectSame(sums.EffectiveSize(), 86.5655532367);
}

// By hand: the sum is 2 - 2^(-3649), which is 2 in a double; oldest first, as cohorts are read.
TEST(DecayTest, TenYearsAtAHalfLifeOfADayAddUpToTwo) {
  WeightedSums sums;
  for (int age = 3649; age >= 0; --age) sums.Add(DecayWeight(age, 1), 1, 0);
  EXPECT_EQ(sums.w1, 2);
  EXPECT_GT(sums.EffectiveSize(), 2.99);
}

TEST(DecayTest, EffectiveSizeOfNothingIsZero) {
  EXPECT_EQ(WeightedSums{}.EffectiveSize(), 0);
  EXPECT_EQ(WeightedSums{}.EffectiveHits(), 0);
}

TEST(DecayTest, EffectiveHitsKeepTheMean) {
  const WeightedSums sums = Decayed(kPaperStream, 110, 5);
  ExpectSame(sums.EffectiveHits() / sums.EffectiveSize(), 5.38215836336);
}

TEST(DecayTest, ManyOrdersOfOneWeightAreTheSumOfSingleOnes) {
  WeightedSums together, apart;
  together.Add(.25, 3, 2);
  for (const double value : {1.0, 0.0, 1.0}) apart.Add(.25, 1, value);
  ExpectSame({together.w1, together.w2, together.s}, {apart.w1, apart.w2, apart.s});
}

}  // namespace
}  // namespace plumblane
