// How much groups differ: against published analyses of two data sets, and R 4.2.2 (a Newton
// iteration of our own there, and VGAM 1.1-7 betabinomialff) where more digits are needed.
#include "scoring/strength.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "scoring/fixture.h"
#include "scoring/invention.h"
#include "scoring/published.h"

namespace plumblane {
namespace {

using published::Batters;
using published::HitsOf;
using published::OrdersOf;
using published::Tumours;
using published::WithMean;

constexpr double kNewton = 1e-6;  // to which the reference values of the likelihood hold

std::vector<RateGroup> EarlierTumours() {
  std::vector<RateGroup> groups = Tumours();
  groups.pop_back();
  return groups;
}

struct Spread {
  double mean = 0, variance = 0;
};

// Of the groups' raw rates, all counting alike; variance over n - 1.
Spread RawRates(const std::vector<RateGroup>& groups) {
  const auto count = static_cast<double>(groups.size());
  Spread spread;
  for (const RateGroup& group : groups) spread.mean += group.hits / group.orders / count;
  for (const RateGroup& group : groups) {
    spread.variance += std::pow(group.hits / group.orders - spread.mean, 2) / (count - 1);
  }
  return spread;
}

// The highest log likelihood of a strength over all means, by halving the interval of its slope.
double HighestOverMeans(const std::vector<RateGroup>& groups, double strength) {
  double low = 1e-3, high = 1 - 1e-3;
  for (int i = 0; i < 60; ++i) {
    const double left = low + (high - low) * 0.49, right = low + (high - low) * 0.51;
    const bool rising = LogLikelihood(WithMean(groups, left), strength) <
                        LogLikelihood(WithMean(groups, right), strength);
    (rising ? low : high) = rising ? left : right;
  }
  return LogLikelihood(WithMean(groups, (low + high) / 2), strength);
}

// "Bayesian Data Analysis", sec. 5.1, as transcribed in secondary sources: .136 and .103. Sums by
// hand from table 5.1; more digits from R: mean and sd.
TEST(TumourTest, RawRatesAsPublished) {
  EXPECT_EQ(HitsOf(Tumours()), 267);
  EXPECT_EQ(OrdersOf(Tumours()), 1739);
  const Spread spread = RawRates(EarlierTumours());
  EXPECT_NEAR(spread.mean, .1360065, 5e-8);
  EXPECT_NEAR(std::sqrt(spread.variance), .1034923, 5e-8);
}

// The same: Beta(1.4, 8.6), and .223 for the last experiment with its 4 in 14; with these rounded
// parameters Beta(5.4, 18.6) of mean .225 and standard deviation .083. More digits from R.
TEST(TumourTest, BetaOfTheirMomentsAsPublished) {
  const Spread spread = RawRates(EarlierTumours());
  const Beta prior = Beta::OfMoments(spread.mean, spread.variance);
  EXPECT_NEAR(prior.a, 1.356149, 5e-7);
  EXPECT_NEAR(prior.b, 8.615058, 5e-7);
  EXPECT_NEAR((Beta{prior.a + 4, prior.b + 10}.Mean()), .2234, 5e-5);
  const Beta rounded{1.4 + 4, 8.6 + 10};
  EXPECT_DOUBLE_EQ(rounded.Mean(), .225);
  EXPECT_NEAR(std::sqrt(rounded.Variance()), .08351647, 5e-9);
}

// R: optim of a sum of lbeta, polished by Newton. VGAM's betabinomialff stops at 2.34151, 14.11428.
TEST(TumourTest, LikeliestBeta) {
  const Beta beta = *FitBeta(Tumours());
  EXPECT_NEAR(beta.a, 2.34161440333, kNewton);
  EXPECT_NEAR(beta.b, 14.11480429844, kNewton);
  EXPECT_NEAR(beta.Mean(), .142291858622, kNewton);
  EXPECT_NEAR(beta.a + beta.b, 16.4564187018, kNewton);
  const Beta earlier = *FitBeta(EarlierTumours());
  EXPECT_NEAR(earlier.a, 2.30478331212, kNewton);
  EXPECT_NEAR(earlier.b, 14.07980903155, kNewton);
}

// R: from that beta, by division and qbeta.
TEST(TumourTest, RatesWithTheLikeliestBetaAsPrior) {
  const Beta prior = *FitBeta(Tumours());
  const auto posterior = [&](double hits, double misses) {
    return Beta{prior.a + hits, prior.b + misses};
  };
  EXPECT_NEAR(posterior(0, 20).Mean(), .0642305110, 1e-7);
  EXPECT_NEAR(posterior(9, 15).Mean(), .2803415321, 1e-7);
  EXPECT_NEAR(posterior(4, 10).Mean(), .2082193072, 1e-7);
  EXPECT_NEAR(posterior(4, 10).Limits().low, .0862163523, 1e-7);
  EXPECT_NEAR(posterior(4, 10).Limits().high, .3663520012, 1e-7);
}

// The same book, sec. 5.3 (quoted from memory): expectations 2.4 and 14.3 over a grid, under a
// prior density of (a + b)^(-5/2). R on 1000 x 1000 points: 2.402563 and 14.31948; 100 x 100 agree
// to 2e-5.
TEST(TumourTest, ExpectedBetaOverAGridAsPublished) {
  constexpr int kPoints = 100;
  double peak = -std::numeric_limits<double>::infinity(), mass = 0, a = 0, b = 0;
  std::vector<std::pair<Beta, double>> points;
  for (int i = 0; i < kPoints; ++i) {
    for (int j = 0; j < kPoints; ++j) {
      const double odds = std::exp(-2.3 + i / (kPoints - 1.0));
      const double strength = std::exp(1 + 4 * j / (kPoints - 1.0));
      const double mean = odds / (1 + odds);
      const double log_prior =
          std::log(mean * (1 - mean) * strength * strength) - 2.5 * std::log(strength);
      const double height = log_prior + LogLikelihood(WithMean(Tumours(), mean), strength);
      points.emplace_back(Beta{mean * strength, (1 - mean) * strength}, height);
      peak = std::max(peak, height);
    }
  }
  for (const auto& [beta, height] : points) {
    mass += std::exp(height - peak);
    a += std::exp(height - peak) * beta.a;
    b += std::exp(height - peak) * beta.b;
  }
  EXPECT_NEAR(a / mass, 2.402563, 1e-4);
  EXPECT_NEAR(b / mass, 14.31948, 1e-4);
}

// With only .37 of the information the likelihood rises for ever: no strength is too high. Heights
// from R 4.2.2: optimize over the mean.
TEST(TumourTest, ThinnedCountsHaveNoLikeliestStrengthAndTheCapBinds) {
  std::vector<RateGroup> thinned = Tumours();
  for (RateGroup& group : thinned) {
    group.orders *= .37;
    group.hits *= .37;
  }
  EXPECT_NEAR(HighestOverMeans(thinned, 16), -280.9948, 5e-5);
  EXPECT_NEAR(HighestOverMeans(thinned, 100), -276.5132, 5e-5);
  EXPECT_NEAR(HighestOverMeans(thinned, 1000), -275.9513, 5e-5);
  EXPECT_NEAR(HighestOverMeans(thinned, 1e5), -275.8999, 5e-5);
  EXPECT_FALSE(FitBeta(thinned).has_value());
  const StrengthEstimate fit = FitStrength(WithMean(thinned, HitsOf(thinned) / OrdersOf(thinned)));
  EXPECT_TRUE(fit.no_difference);
  EXPECT_EQ(fit.likeliest, 1000);
}

// J. Kleinman, JASA 68 (1973) 46-54 (the formula from memory), with weights by orders; worked out
// in R 4.2.2.
TEST(TumourTest, MomentsInOneStep) {
  const MomentFit fit = *FitMoments(Tumours());
  ExpectSame({fit.mean, fit.gamma, fit.strength}, {.15353651524, .04386743477, 21.79595342517});
}

// With the mean given, the strength alone has its maximum where a dense scan says.
TEST(TumourTest, LikeliestStrengthGivenTheMean) {
  const std::vector<RateGroup> groups = WithMean(Tumours(), .142291858622);
  const StrengthEstimate fit = FitStrength(groups);
  EXPECT_FALSE(fit.no_difference);
  EXPECT_NEAR(fit.likeliest, 16.4564187018, 16.46 * 1e-3);
  // 71 groups: expectation and maximum are near each other.
  EXPECT_NEAR(fit.expected, 16.5, 1);
}

// Efron and Morris (published.h): grand mean .265, deviations shrunk to .212 of themselves, .294
// for Clemente (quoted from memory). More digits from R.
TEST(BatterTest, SteinsShrinkageAsPublished) {
  const std::vector<RateGroup> groups = Batters();
  const Spread raw = RawRates(groups);
  EXPECT_NEAR(raw.mean, .265432098765, 5e-13);
  const double chance = raw.mean * (1 - raw.mean) / 45;
  const double kept = 1 - (18 - 3) * chance / (raw.variance * 17);
  EXPECT_NEAR(kept, .211653417144, 5e-12);
  EXPECT_NEAR(raw.mean + kept * (18 / 45.0 - raw.mean), .2939138549, 5e-11);
}

// The same authors, JASA 70 (1975) 311-319, on the arcsine scale: V = 18.96, kept .209 (quoted from
// memory). More digits from R.
TEST(BatterTest, SteinsShrinkageOnTheArcsineScaleAsPublished) {
  std::vector<double> x;
  double mean = 0, squares = 0;
  for (const RateGroup& group : Batters()) {
    x.push_back(std::sqrt(45) * std::asin(2 * group.hits / 45 - 1));
    mean += x.back() / 18;
  }
  for (const double value : x) squares += std::pow(value - mean, 2);
  EXPECT_NEAR(squares, 18.962719811, 5e-9);
  EXPECT_NEAR(1 - 15 / squares, .208974232, 5e-9);
}

// What is kept of a deviation is n/(n + M). The expected strength keeps what the paper keeps, .209
// to .212; the likeliest one would keep next to nothing.
TEST(BatterTest, ExpectedStrengthKeepsAsMuchAsStein) {
  const StrengthEstimate fit = FitStrength(WithMean(Batters(), .265432098765));
  EXPECT_NEAR(45 / (45 + fit.expected), .209, .005);
  EXPECT_NEAR((18 + fit.expected * .265432098765) / (45 + fit.expected), .294, .001);
  EXPECT_LT(45 / (45 + fit.likeliest), .06);
  EXPECT_FALSE(fit.no_difference);
}

TEST(StrengthTest, SkellamsProbabilitiesAddUpToOne) {
  // LogEvidence and the binomial coefficient: the beta-binomial distribution of 12 orders.
  const Beta prior{1.3, 7.7};
  double sum = 0;
  for (int hits = 0; hits <= 12; ++hits) {
    sum += std::exp(LogEvidence(prior, hits, 12 - hits)) * std::tgamma(13) /
           (std::tgamma(hits + 1.0) * std::tgamma(13.0 - hits));
  }
  ExpectSame(sum, 1);
  EXPECT_EQ(LogEvidence(prior, 0, 0), 0);
  ExpectSame(LogEvidence(prior, 1, 0), std::log(1.3 / 9));
  ExpectSame(LogEvidence(prior, 0, 1), std::log(7.7 / 9));
}

TEST(StrengthTest, GroupsWithoutOrdersSayNothing) {
  const StrengthEstimate none = FitStrength({});
  EXPECT_TRUE(none.no_difference);
  EXPECT_EQ(none.likeliest, 1000);
  EXPECT_NEAR(none.expected, 8.98, .1);  // 1 / E[1/(M + 1)] - 1 with log M even over 1 .. 1000
  const std::vector<RateGroup> empty(5);
  EXPECT_EQ(FitStrength(empty), none);
  EXPECT_FALSE(FitBeta(empty).has_value());
  EXPECT_FALSE(FitMoments(empty).has_value());
}

TEST(StrengthTest, SingleOrdersCannotTellGroupsApart) {
  std::vector<RateGroup> groups(30, {.orders = 1, .hits = 0, .mean = .2});
  for (size_t i = 0; i < 6; ++i) groups[i].hits = 1;
  EXPECT_NEAR(LogLikelihood(groups, 2), LogLikelihood(groups, 700), 1e-9);
  EXPECT_FALSE(FitBeta(groups).has_value());
  // Whatever way the heights are rounded.
  const StrengthEstimate none = FitStrength({});
  const StrengthEstimate fit = FitStrength(groups);
  EXPECT_TRUE(fit.no_difference);
  EXPECT_EQ(fit.likeliest, 1000);
  EXPECT_NEAR(fit.expected, none.expected, 1e-6);
}

TEST(StrengthTest, GroupsOfNoHitsOrOnlyHitsAreTakenAsTheyCome) {
  for (const double hits : {0.0, 40.0}) {
    const std::vector<RateGroup> groups(6, {.orders = 40, .hits = hits, .mean = .2});
    const StrengthEstimate fit = FitStrength(groups);
    EXPECT_TRUE(std::isfinite(fit.expected) && fit.expected >= 1 && fit.expected <= 1000);
    EXPECT_FALSE(FitBeta(groups).has_value());
    EXPECT_FALSE(FitMoments(groups).has_value());
  }
}

TEST(StrengthTest, GroupsAtTheEndsAreAsFarApartAsCanBe) {
  std::vector<RateGroup> groups(10, {.orders = 50, .hits = 0, .mean = .5});
  for (size_t i = 0; i < 5; ++i) groups[i].hits = 50;
  const StrengthEstimate fit = FitStrength(groups);
  EXPECT_EQ(fit.likeliest, 1);
  EXPECT_LT(fit.expected, 1.5);
  EXPECT_FALSE(fit.no_difference);
}

TEST(StrengthTest, OneGroupIsNoFit) {
  EXPECT_FALSE(FitBeta(std::vector<RateGroup>{{.orders = 50, .hits = 5}}).has_value());
  EXPECT_FALSE(FitBeta(std::vector<RateGroup>{{.orders = 1, .hits = .5}}).has_value());
}

TEST(StrengthTest, HitsBeyondOrdersLeaveNoMiss) {
  const std::vector<RateGroup> groups = {{.orders = .4, .hits = 1, .mean = .1}};
  ExpectSame(LogLikelihood(groups, 20), LogEvidence({2, 18}, 1, 0));
}

TEST(StrengthTest, AnUncertainMeanLowersTheGroupsOwnStrength) {
  const std::vector<RateGroup> groups = {{.orders = 9, .hits = 2, .mean = .1, .spread = .05}};
  ExpectSame(LogLikelihood(groups, 20), LogEvidence({1, 9}, 2, 7));  // 1/20 + .05 = 1/10
}

TEST(StrengthTest, AGroupOfHalfTheWeightSpeaksHalf) {
  std::vector<RateGroup> groups = WithMean(Tumours(), .14);
  std::vector<RateGroup> doubled = groups;
  doubled.insert(doubled.end(), groups.begin(), groups.end());
  for (RateGroup& group : doubled) group.weight = .5;
  for (const double strength : {2.0, 16.0, 300.0}) {
    ExpectSame(LogLikelihood(doubled, strength), LogLikelihood(groups, strength));
  }
  EXPECT_NEAR(FitStrength(doubled).expected, FitStrength(groups).expected, 1e-6);
  EXPECT_NEAR(FitBeta(doubled)->a, FitBeta(groups)->a, 1e-9);
}

// A plain sum over 20,000 even steps of log M, and its highest point.
TEST(StrengthTest, AgreesWithADenseScan) {
  Dice dice(4);
  for (const int count : {1, 3, 10, 60, 400}) {
    for (const double truth : {3.0, 30.0, 300.0}) {
      std::vector<RateGroup> groups;
      for (int i = 0; i < count; ++i) {
        const int orders = 1 + dice.Count(25);
        const double rate = dice.FromBeta(std::max(1.0, .2 * truth), .8 * truth);
        groups.push_back({1.0 * orders, 1.0 * dice.Hits(orders, rate), .2, dice.Unit() / 50});
      }
      const StrengthEstimate fit = FitStrength(groups);
      const int steps = 4000;
      const double peak = LogLikelihood(groups, fit.likeliest);
      double mass = 0, moment = 0, highest = -1e300;
      for (int i = 0; i < steps; ++i) {
        const double strength = std::exp(std::log(1000.0) * (i + .5) / steps);
        const double height = LogLikelihood(groups, strength);
        highest = std::max(highest, height);
        mass += std::exp(height - peak);
        moment += std::exp(height - peak) / (strength + 1);
      }
      EXPECT_GE(peak, highest - 1e-4) << count << ' ' << truth;
      EXPECT_NEAR(fit.expected / (mass / moment - 1), 1, .001) << count << ' ' << truth;
    }
  }
}

std::vector<RateGroup> Groups(const std::vector<std::pair<int, int>>& hits_of_orders) {
  std::vector<RateGroup> groups;
  groups.reserve(hits_of_orders.size());
  for (const auto& [hits, orders] : hits_of_orders) groups.push_back({1.0 * orders, 1.0 * hits});
  return groups;
}

// A few large groups nearly alike and some small ones far off: both stories have a top.
TEST(StrengthTest, OfTwoTopsTheHigherIsTaken) {
  const Beta alike = *FitBeta(Groups({{114, 200}, {0, 2}, {211, 450}, {0, 2}, {0, 4}}));
  EXPECT_NEAR(alike.a + alike.b, 100, 20);
  const Beta apart = *FitBeta(Groups({{5, 5}, {0, 3}, {363, 500}, {0, 3}, {319, 400}}));
  EXPECT_NEAR(apart.a + apart.b, .7, .3);
}

TEST(StrengthTest, ATopBelowWhatTheCapReachesIsNone) {
  const std::vector<RateGroup> groups = Groups({{90, 450}, {4, 4}, {60, 300}, {0, 2}});
  EXPECT_GT(HighestOverMeans(groups, 3), HighestOverMeans(groups, 10));
  EXPECT_FALSE(FitBeta(groups).has_value());
}

// Groups of all sizes, whose likelihood is often flat, skewed or has two tops: the fit is as high
// as a scan gets anywhere, and only missing where the scan ends near the cap.
TEST(StrengthTest, NewtonFindsWhatAScanFinds) {
  Dice dice(1);
  int found = 0;
  for (int round = 0; round < 120; ++round) {
    std::vector<RateGroup> groups;
    const int count = 2 + dice.Below(30);
    const double truth = std::exp(6 * dice.Unit());
    for (int i = 0; i < count; ++i) {
      const int orders = 1 + dice.Below(dice.Below(2) == 0 ? 300 : 8);
      const double rate = dice.FromBeta(std::max(1.0, .2 * truth), std::max(1.0, .8 * truth));
      groups.push_back({1.0 * orders, 1.0 * dice.Hits(orders, rate)});
    }
    const double at_cap = HighestOverMeans(groups, 1000);
    double highest = -1e300;
    for (double log_strength = 0; log_strength < 6.9; log_strength += .4) {
      highest = std::max(highest, HighestOverMeans(groups, std::exp(log_strength)));
    }
    const auto beta = FitBeta(groups);
    if (beta) {
      ++found;
      const double height = LogLikelihood(WithMean(groups, beta->Mean()), beta->a + beta->b);
      EXPECT_GE(height, std::max(highest, at_cap) - 1e-6) << round;
    } else if (HitsOf(groups) > 0) {
      EXPECT_LT(highest - at_cap, .01) << round;
    }
  }
  EXPECT_GT(found, 60);
}

// Rates of standard deviation .004 about .1, seen exactly: M = .09/.004^2 - 1 = 5624.
TEST(StrengthTest, BeyondTheCapThereIsNoBeta) {
  std::vector<RateGroup> groups(40, {.orders = 1e6, .hits = 96e3});
  for (size_t i = 0; i < 20; ++i) groups[i].hits = 104e3;
  EXPECT_FALSE(FitBeta(groups).has_value());
  EXPECT_EQ(FitStrength(WithMean(groups, .1)).likeliest, 1000);
}

TEST(StrengthTest, NewtonStopsAtTheTop) {
  Dice dice(9);
  int found = 0;
  for (int round = 0; round < 40; ++round) {
    std::vector<RateGroup> groups;
    const double truth = 3 + 60 * dice.Unit();
    for (int i = 0; i < 40; ++i) {
      const int orders = 1 + dice.Below(60);
      const double rate = dice.FromBeta(std::max(1.0, .1 * truth), .9 * truth);
      groups.push_back({orders + .25, dice.Hits(orders, rate) + .25 * rate});
    }
    const auto beta = FitBeta(groups);
    if (!beta) continue;
    ++found;
    const double strength = beta->a + beta->b;
    const double top = LogLikelihood(WithMean(groups, beta->Mean()), strength);
    for (const double factor : {.97, 1.03}) {
      EXPECT_LT(LogLikelihood(WithMean(groups, beta->Mean() * factor), strength), top);
      EXPECT_LT(LogLikelihood(WithMean(groups, beta->Mean()), strength * factor), top);
    }
  }
  EXPECT_GT(found, 35);
}

}  // namespace
}  // namespace plumblane
