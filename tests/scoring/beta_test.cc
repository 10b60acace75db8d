// Beta quantiles and Wilson's interval, against published tables and R 4.2.2 (qbeta, pbeta,
// prop.test, binom.test).
#include "scoring/beta.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

void ExpectLimits(const Interval& actual, double low, double high) {
  ExpectSame(actual.low, low);
  ExpectSame(actual.high, high);
}

// R. Newcombe, Stat. Med. 17 (1998) 857-872, table I, as transcribed in secondary sources: .2553 to
// .3662, .0624 to .1605, 0 to .1611, .0061 to .1718. More digits from R: prop.test(81, 263,
// correct = FALSE) and so on.
TEST(WilsonTest, LimitsOfNewcombesTable) {
  ExpectLimits(WilsonLimits(81, 263), .2552885199, .3662095770);
  ExpectLimits(WilsonLimits(15, 148), .06238639953, .16048724172);
  ExpectLimits(WilsonLimits(0, 20), 0, .1611251581);
  ExpectLimits(WilsonLimits(1, 29), .006113214293, .171755218793);
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 26 of 200, one-sided 95 %, 0.09577
// with z = 1.645. The digits beyond from the formula in R, with z = qnorm(.95) first.
TEST(WilsonTest, OneSidedLimitOfTheHandbook) {
  EXPECT_NEAR(WilsonLimits(26, 200, .90).low, .0957727, 5e-8);
  const double level_of_1_645 = std::erf(1.645 / std::sqrt(2.0));
  EXPECT_NEAR(WilsonLimits(26, 200, level_of_1_645).low, .0957701, 5e-8);
}

// R: prop.test(4, 20, conf.level = .9, correct = FALSE); for fractional counts, which that does not
// take, Wilson's formula typed into R.
TEST(WilsonTest, OtherLevelsAndFractionalCounts) {
  ExpectLimits(WilsonLimits(4, 20, .90), .09311801658, .3783766858);
  ExpectLimits(WilsonLimits(12.5, 17.25), .4887455253, .8787017938);
}

TEST(WilsonTest, EndsAreExact) {
  // The bare formula misses them by a rounding error for many of these.
  for (int trials = 1; trials <= 1000; ++trials) {
    EXPECT_EQ(WilsonLimits(0, trials).low, 0) << trials;
    EXPECT_EQ(WilsonLimits(trials, trials).high, 1) << trials;
  }
}

// R: qbeta(p, a, b), p = .025, .5, .975 of the first two, .05, .5, .95 of the third;
// pbeta(.1, 2.4, 14.3). Beta(5.4, 18.6) is the posterior of "Bayesian Data Analysis", sec. 5.1.
TEST(BetaTest, QuantilesOnBothTails) {
  const Beta rats{5.4, 18.6};
  ExpectLimits(rats.Limits(), .08539617698, .40778986620);
  ExpectSame(rats.Quantile(.5), .21727413836);
  // The Jeffreys interval of Newcombe's 81 in 263.
  ExpectLimits(Beta{81.5, 182.5}.Limits(), .2545219350, .3656474992);
  const Beta sharp{1234.5, 21.25};
  ExpectLimits(sharp.Limits(.90), .9766883113, .9885943432);
  ExpectSame(sharp.Quantile(.5), .9833336932);
  ExpectSame(Beta{2.4, 14.3}.Cdf(.1), .3506627493);
}

// NIST/SEMATECH e-Handbook, 7.2.4.1: exact 90 % limits of 4 in 20 are .071354 and .401029. They are
// Beta quantiles, after C. Clopper, E. Pearson, Biometrika 26 (1934) 404-413. More digits from R:
// binom.test(4, 20, conf.level = .9).
TEST(BetaTest, QuantilesGiveTheExactBinomialLimits) {
  ExpectSame(Beta{4, 17}.Quantile(.05), .07135388431);
  ExpectSame(Beta{5, 16}.UpperQuantile(.05), .40102811733);
}

TEST(BetaTest, LowerAndUpperQuantileMirrorEachOther) {
  for (const double a : {.05, .4, 1.0, 3.0, 250.0}) {
    for (const double b : {.05, .4, 1.0, 3.0, 250.0}) {
      for (const double tail : {1e-6, .025, .3}) {
        EXPECT_NEAR((Beta{a, b}.UpperQuantile(tail)), 1 - (Beta{b, a}.Quantile(tail)), 1e-12);
      }
    }
  }
}

TEST(BetaTest, QuantileUndoesCdfFromSparseToRich) {
  for (const double a : {.05, .3, 1.0, 4.0, 80.0, 1e4, 1e6}) {
    for (const double b : {.5, 1.0, 4.0, 80.0, 1e4}) {
      for (const double p : {.025, .5, .975}) {
        const Beta beta{a, b};
        EXPECT_NEAR(beta.Cdf(beta.Quantile(p)), p, 1e-7) << a << ' ' << b << ' ' << p;
      }
    }
  }
}

TEST(BetaTest, ACertainPriorStillHasQuantiles) {
  const Interval limits = Beta{.05, 4}.Limits();
  EXPECT_GT(limits.low, 0);
  EXPECT_LT(limits.low, 1e-20);
  EXPECT_GT(limits.high, .05);
}

TEST(BetaTest, AgreesWithAContinuedFraction) {
  for (const double a : {.05, .7, 2.5, 31.0}) {
    for (const double b : {.05, .7, 2.5, 31.0}) {
      for (const double x : {.001, .1, .4, .9}) {
        EXPECT_NEAR((Beta{a, b}.Cdf(x)), naive::BetaCdf(a, b, x), 1e-12);
      }
    }
  }
}

}  // namespace
}  // namespace plumblane
