// Published values of comparisons, and what must hold of all.
#include "review/compare.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace plumblane {
namespace {

struct Row {
  HitCount first, second;
  double difference, low, high;
};

// R. Newcombe, Stat. Med. 17 (1998) 873-890, Table II, method 10: (a) 56/70 - 48/80: .0524 to
// .3339; (b) 9/10 - 3/10: .1705 to .8090; (d) 5/56 - 0/29: -.0381 to .1926; 0/10 - 0/10: -.2775 to
// .2775; 10/10 - 0/20: .6791 to 1. 84/101 - 89/105: -.1177 to .0851 (a test of R's DescTools). More
// digits, and the rest, by the formula in R.
TEST(CompareTest, LimitsOfNewcombesTable) {
  const Row rows[] = {
      {{70, 56}, {80, 48}, .2, .0524314724, .3338726540},
      {{10, 9}, {10, 3}, .6, .1705227239, .8090179735},
      {{56, 5}, {29, 0}, 5. / 56, -.0381371479, .1925600139},
      {{10, 0}, {10, 0}, 0, -.2775327999, .2775327999},
      {{10, 0}, {20, 0}, 0, -.1611251581, .2775327999},
      {{10, 10}, {20, 0}, 1, .6790860371, 1},
      {{10, 10}, {10, 0}, 1, .6075093504, 1},
      {{7, 6}, {7, 2}, 4. / 7, .0582279275, .8062496375},
      {{101, 84}, {105, 89}, 84. / 101 - 89. / 105, -.1177496498, .0850713518},
  };
  for (const Row& row : rows) {
    SCOPED_TRACE(testing::Message() << row.first.hits << "/" << row.first.orders << " - "
                                    << row.second.hits << "/" << row.second.orders);
    const Comparison comparison = Compare(row.first, row.second);
    EXPECT_NEAR(comparison.difference, row.difference, 1e-12);
    EXPECT_NEAR(comparison.limits.low, row.low, 6e-11);
    EXPECT_NEAR(comparison.limits.high, row.high, 6e-11);
  }
}

// R: prop.test(c(56, 48), c(70, 80), correct = FALSE) gives chi-squared 7.023411371, of which N-1
// takes (N-1)/N: 6.976588629, p .008258287929. fisher.test of the same: .01252112975; of 9/10 and
// 3/10: .0197666111.
TEST(CompareTest, PValuesOfBothTests) {
  EXPECT_NEAR(ChiSquaredP({70, 56}, {80, 48}), .008258287929, 6e-13);
  EXPECT_NEAR(FisherIrwinP({70, 56}, {80, 48}), .01252112975, 6e-12);
  EXPECT_NEAR(FisherIrwinP({10, 9}, {10, 3}), .0197666111, 6e-11);
}

TEST(CompareTest, TheTestFollowsFromTheExpectedCounts) {
  // Expected hits are 25/26 at the least: below 1. With one hit more they are 1 and more.
  EXPECT_EQ(Compare({25, 1}, {27, 1}).p_value, FisherIrwinP({25, 1}, {27, 1}));
  EXPECT_EQ(Compare({25, 1}, {27, 2}).p_value, ChiSquaredP({25, 1}, {27, 2}));
  EXPECT_NE(ChiSquaredP({25, 1}, {27, 1}), FisherIrwinP({25, 1}, {27, 1}));
}

TEST(CompareTest, NothingSetsEqualCountsApart) {
  EXPECT_EQ(Compare({40, 0}, {50, 0}).p_value, 1);
  EXPECT_EQ(Compare({40, 40}, {50, 50}).p_value, 1);
  EXPECT_EQ(Compare({40, 10}, {40, 10}).p_value, 1);
}

// Swapping the two turns the sign and nothing else.
TEST(CompareTest, IsTheSameTheOtherWayRound) {
  for (int64_t n1 = 1; n1 <= 12; ++n1) {
    for (int64_t h1 = 0; h1 <= n1; ++h1) {
      for (const HitCount& second : {HitCount{7, 2}, HitCount{30, 0}, HitCount{30, 29}}) {
        const Comparison there = Compare({n1, h1}, second), back = Compare(second, {n1, h1});
        EXPECT_EQ(there.difference, -back.difference);
        EXPECT_NEAR(there.limits.low, -back.limits.high, 1e-15);
        EXPECT_NEAR(there.p_value, back.p_value, 1e-12);
        EXPECT_LE(there.limits.low, there.difference);
        EXPECT_GE(there.limits.high, there.difference);
      }
    }
  }
}

// The probabilities of all tables sum to 1 when none is likelier than the one seen.
TEST(CompareTest, FisherIrwinReachesOneAtTheLikeliestTable) {
  EXPECT_NEAR(FisherIrwinP({20, 2}, {20, 2}), 1, 1e-12);
  EXPECT_NEAR(FisherIrwinP({1000, 100}, {1000, 100}), 1, 1e-9);
}

// Y. Benjamini, Y. Hochberg, JRSS B 57 (1995) 289-300, sec. 3: fifteen p-values, of which their
// procedure rejects four at .05 and Bonferroni's three. Adjusted values: R, p.adjust(p, "BH").
TEST(AdjustTest, TheExampleOfBenjaminiAndHochberg) {
  const std::vector<double> p = {.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344,
                                 .0459, .3240, .4262, .5719, .6528, .7590, 1};
  const std::vector<double> expected = {.0015,       .003,        .0095,       .035625,     .0603,
                                        .0638571429, .0638571429, .0645,       .0765,       .486,
                                        .5811818182, .714875,     .7532307692, .8132142857, 1};
  const std::vector<double> adjusted = AdjustForNumber(p);
  ASSERT_EQ(adjusted.size(), expected.size());
  int rejected = 0;
  for (size_t i = 0; i < p.size(); ++i) {
    EXPECT_NEAR(adjusted[i], expected[i], 6e-11) << i;
    rejected += adjusted[i] <= .05 ? 1 : 0;
  }
  EXPECT_EQ(rejected, 4);
}

TEST(AdjustTest, KeepsThePlacesAndTakesNone) {
  EXPECT_TRUE(AdjustForNumber({}).empty());
  EXPECT_EQ(AdjustForNumber(std::vector<double>{.5, .01}), (std::vector<double>{.5, .02}));
  EXPECT_EQ(AdjustForNumber(std::vector<double>{.03}), (std::vector<double>{.03}));
}

}  // namespace
}  // namespace plumblane
