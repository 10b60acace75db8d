// Run lengths of charts, as published and in closed form, by the solver that charts are designed
// with. The charts for measurements stand here only to try the solver on published tables: the
// product watches rates and has none of them.
#include "alerting/chain.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <vector>

#include "alerting/cusum.h"

namespace plumblane {
namespace {

double Normal(double x) { return std::erfc(-x / std::sqrt(2.0)) / 2; }

TEST(ChainTest, CountsTheStepsOfASimpleWalk) {
  // From 0 to 2, up or back to 0 with 1/2 each: m0 = 1 + m0/2 + m1/2, m1 = 1 + m0/2.
  Chain chain(2, 1, 1);
  chain.Add(0, 0, .5);
  chain.Add(0, 1, .5);
  chain.Add(1, 0, .5);
  EXPECT_EQ(chain.ExpectedSteps(), (std::vector<double>{6, 4}));
}

// Closed forms: a walk of equal steps, and a chart that needs two hits within nine orders.
TEST(ChainTest, RatesChartsRunAsInClosedForm) {
  for (const auto& [level, p] : {std::pair{6, .3}, {20, .45}, {3, .01}, {1, .2}}) {
    const double q = 1 - p,
                 closed = level / (p - q) - q / std::pow(p - q, 2) * (1 - std::pow(q / p, level));
    EXPECT_NEAR(OrdersToAlarm({1, 2}, level, p), closed, 1e-9 * closed) << level << " " << p;
  }
  EXPECT_NEAR(OrdersToAlarm({1, 2}, 6, .3), 686.6803841, 1e-7);
  EXPECT_NEAR(OrdersToAlarm({1, 2}, 10, .5), 110, 1e-9);
  for (const int m : {10, 25}) {
    const double p = .1, closed = (1 + 1 / (1 - std::pow(1 - p, m - 1))) / p;
    EXPECT_NEAR(OrdersToAlarm({1, m}, m, p), closed, 1e-9 * closed) << m;
  }
  EXPECT_NEAR(OrdersToAlarm({1, 10}, 10, .1), 26.32441148, 1e-8);
  // Where one hit is enough.
  EXPECT_NEAR(OrdersToAlarm({1, 10}, 9, .1), 10, 1e-12);
}

// J. Lucas, "Counted data CUSUM's", Technometrics 27 (1985) 129-144: mean and k of .25, h = 10,
// without and with a head start: 438 and 333.
TEST(ChainTest, PoissonChartRunsAsPublished) {
  constexpr int kStates = 40;  // in quarters
  Chain chain(kStates, 1, kStates);
  for (int s = 0; s < kStates; ++s) {
    double probability = std::exp(-.25);
    for (int y = 0; s - 1 + 4 * y < kStates; probability *= .25 / ++y) {
      chain.Add(s, std::max(0, s - 1 + 4 * y), probability);
    }
  }
  const std::vector<double> runs = chain.ExpectedSteps();
  EXPECT_NEAR(runs[0], 438.1249995, 1e-6);
  EXPECT_NEAR(runs[kStates / 2], 333.1248085, 1e-6);
}

// Brook and Evans' chain for a chart on a standard normal shifted by `mean`, on `states` intervals.
double NormalCusum(double k, double h, double mean, int states) {
  const double width = 2 * h / (2 * states - 1);
  Chain chain(states, states, states);
  const auto below = [&](double x) { return Normal(x + k - mean); };
  for (int s = 0; s < states; ++s) {
    chain.Add(s, 0, below((.5 - s) * width));
    for (int t = 1; t < states; ++t) {
      chain.Add(s, t, below((t - s + .5) * width) - below((t - s - .5) * width));
    }
  }
  return chain.ExpectedSteps()[0];
}

// Richardson's extrapolation: the error of the chain falls with the square of the interval's width.
double Extrapolate(const std::function<double(int)>& run, int coarse, int fine,
                   const std::function<double(int)>& width) {
  const double ratio = std::pow(width(coarse) / width(fine), 2);
  return (ratio * run(fine) - run(coarse)) / (ratio - 1);
}

double NormalCusum(double k, double h, double mean) {
  return Extrapolate([&](int states) { return NormalCusum(k, h, mean, states); }, 60, 120,
                     [](int states) { return 1.0 / (2 * states - 1); });
}

// D. Brook, D. Evans, Biometrika 59 (1972) 539-549: 117.59 and 3.75 (more digits computed once with
// the R package spc); NIST/SEMATECH e-Handbook 6.3.2.3.1: 336 and 930 for one side.
TEST(ChainTest, NormalChartsRunAsPublished) {
  EXPECT_NEAR(NormalCusum(.5, 3, 0), 117.5957042, .01);
  EXPECT_NEAR(NormalCusum(.5, 3, 1.5), 3.749108407, .001);
  EXPECT_NEAR(NormalCusum(.5, 4, 0), 335.3676, .05);
  EXPECT_NEAR(NormalCusum(.5, 5, 0), 930.8870, .2);
}

// J. Lucas, R. Crosier, "Fast initial response for CUSUM quality-control schemes", Technometrics 24
// (1982) 199-205: two-sided, k = .5. Charts for both sides alarm at the sum of their paces.
TEST(ChainTest, TwoSidedNormalChartsRunAsPublished) {
  const double shifts[] = {0, .25, .5, .75, 1, 1.5, 2, 2.5, 3, 4};
  const double published[2][10] = {
      {168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71},
      {465.444, 139.494, 37.996, 17.048, 10.376, 5.747, 4.009, 3.114, 2.573, 2.013}};
  for (int i = 0; i < 10; ++i) {
    for (const int h : {4, 5}) {
      const double run =
          1 / (1 / NormalCusum(.5, h, shifts[i]) + 1 / NormalCusum(.5, h, -shifts[i]));
      EXPECT_NEAR(run, published[h - 4][i], .0035 * published[h - 4][i]) << h << " " << shifts[i];
    }
  }
}

// A two-sided chart on z <- (1 - lambda) z + lambda x.
double NormalEwma(double lambda, double c, double mean) {
  const double limit = c * std::sqrt(lambda / (2 - lambda));
  const auto run = [&](int states) {  // odd, so that z = 0 is in the middle of one
    const double width = 2 * limit / states;
    Chain chain(states, states, states);
    for (int s = 0; s < states; ++s) {
      const double kept = (1 - lambda) * (-limit + (s + .5) * width);
      for (int t = 0; t < states; ++t) {
        const double low = (-limit + t * width - kept) / lambda - mean;
        chain.Add(s, t, Normal(low + width / lambda) - Normal(low));
      }
    }
    return chain.ExpectedSteps()[static_cast<size_t>(states / 2)];
  };
  return Extrapolate(run, 101, 201, [](int states) { return 1.0 / states; });
}

// J. Lucas, M. Saccucci, "Exponentially weighted moving average control schemes", Technometrics 32
// (1990) 1-12, Table 3.
TEST(ChainTest, MovingAverageChartsRunAsPublished) {
  const struct {
    double lambda, c, mean, run;
  } rows[] = {{.5, 3.071, 0, 499.906},  {.5, 3.071, .5, 88.795}, {.5, 3.071, 1, 17.477},
              {.5, 3.071, 2, 3.628},    {.5, 3.071, 3, 1.926},   {.03, 2.437, 0, 499.859},
              {.03, 2.437, .5, 29.321}, {.03, 2.437, 1, 12.598}, {.03, 2.437, 2, 5.987},
              {.03, 2.437, 3, 4.029}};
  for (const auto& row : rows) {
    EXPECT_NEAR(NormalEwma(row.lambda, row.c, row.mean), row.run, 2e-4 * row.run + 1e-3)
        << row.lambda << " " << row.mean;
  }
}

}  // namespace
}  // namespace plumblane
