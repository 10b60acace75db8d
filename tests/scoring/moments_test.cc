// Weighted means and variances against R 4.2.2 and published figures, and against plain sums.
#include "scoring/moments.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "scoring/decay.h"
#include "scoring/fixture.h"
#include "scoring/naive_model.h"

namespace plumblane {
namespace {

using Values = std::vector<std::pair<double, double>>;  // value, weight

WeightedMoments Of(const Values& values) {
  WeightedMoments moments;
  for (const auto& [value, weight] : values) moments.Add(value, weight);
  return moments;
}

// The example of G. Cormode et al., ICDE 2009, as (time, value); a half-life of 5 at time 110.
const Values kStream = {{105, 4}, {107, 8}, {103, 3}, {108, 6}, {104, 4}};
Values Decayed(double now = 110) {
  Values values;
  for (const auto& [time, value] : kStream) values.emplace_back(value, DecayWeight(now - time, 5));
  return values;
}

void ExpectEqual(const WeightedMoments& x, const WeightedMoments& y, double tolerance = 1e-12) {
  EXPECT_NEAR(x.w1(), y.w1(), tolerance * y.w1());
  EXPECT_NEAR(x.w2(), y.w2(), tolerance * y.w2());
  EXPECT_NEAR(x.Mean(), y.Mean(), tolerance * std::fabs(y.Mean()));
  EXPECT_NEAR(x.Variance(), y.Variance(), tolerance * y.Variance());
}

// The data set of NIST's Dataplot Reference Manual, "Weighted standard deviation" (page seen),
// which prints a variance of 33.9 and a deviation of 5.82: M2 by (N - 1)/N of the weight, N values
// that weigh anything. The rest is from R 4.2.2 (cov.wt for the variance of the sample).
TEST(WeightedMomentsTest, PublishedExample) {
  const WeightedMoments moments =
      Of({{2, 1}, {3, 1}, {5, 0}, {7, 0}, {11, 4}, {13, 1}, {17, 2}, {19, 1}, {23, 0}});
  ExpectSame(moments.Mean(), 11.5);
  ExpectSame(moments.w1(), 10);
  ExpectSame(moments.Variance(), 282.5 / 10);
  ExpectSame(moments.Variance() * 6 / 5, 33.9);
  ExpectSame(std::sqrt(moments.Variance() * 6 / 5), 5.8223706512);
  ExpectSame(*moments.SampleVariance(), 37.1710526316);
  // M2/(W1 - 1), as if weights were counts; never used.
  ExpectSame(moments.Variance() * 10 / 9, 31.3888888889);
}

// Figures from R 4.2.2.
TEST(WeightedMomentsTest, DecayedStream) {
  const WeightedMoments moments = Of(Decayed());
  ExpectSame(moments.Mean(), 5.38215836336);
  ExpectSame(moments.w1() * moments.w1() / moments.w2(), 4.68571181746);
  ExpectSame(moments.Variance(), 3.20214297223);
  ExpectSame(*moments.SampleVariance(), 4.07094203489);
}

// The variance from R 4.2.2, as above.
TEST(WeightedMomentsTest, OrderAndTakingOutAndAddingAgainDoNotMatter) {
  Values values = Decayed();
  const auto [value, weight] = values[1];
  std::sort(values.begin(), values.end());
  do {
    WeightedMoments moments = Of(values);
    moments.Remove(value, weight);
    moments.Add(value, weight);
    EXPECT_NEAR(moments.Variance(), 3.20214297223, 1e-11);
    ExpectEqual(moments, Of(Decayed()));
  } while (std::next_permutation(values.begin(), values.end()));
}

TEST(WeightedMomentsTest, TakenOutIsAsIfNeverAdded) {
  Values rest = Decayed();
  rest.erase(rest.begin() + 1);
  WeightedMoments moments = Of(Decayed());
  moments.Remove(8, DecayWeight(3, 5));
  ExpectEqual(moments, Of(rest));
}

TEST(WeightedMomentsTest, FadedIsAsIfAddedWithTheWeightsOfLater) {
  WeightedMoments moments = Of(Decayed());
  moments.Fade(DecayWeight(15, 5));
  ExpectEqual(moments, Of(Decayed(125)));
  moments.Remove(8, DecayWeight(18, 5));
  moments.Add(8, DecayWeight(18, 5));
  ExpectEqual(moments, Of(Decayed(125)));
}

TEST(WeightedMomentsTest, NothingHasNoVariance) {
  WeightedMoments moments;
  EXPECT_EQ(moments.SampleVariance(), std::nullopt);
  moments.Add(5, 0);
  EXPECT_EQ(moments.w1(), 0);
  moments.Add(5);
  EXPECT_EQ(moments.Variance(), 0);
  EXPECT_EQ(moments.SampleVariance(), std::nullopt);
  moments.Add(7);
  ExpectSame(*moments.SampleVariance(), 2);
  moments.Remove(5);
  moments.Remove(7);
  EXPECT_EQ(moments.w1(), 0);
  EXPECT_EQ(moments.w2(), 0);
  moments.Add(3);
  moments.Fade(0);
  EXPECT_EQ(moments.w1(), 0);
}

// A sum of squares less the square of a sum would have no digit left here.
TEST(WeightedMomentsTest, LargeValuesCloseTogetherKeepTheirDigits) {
  WeightedMoments moments;
  for (const int last : {4, 7, 13, 16}) moments.Add(1e9 + last);
  ExpectSame(moments.Variance(), 22.5);
  ExpectSame(*moments.SampleVariance(), 30);
}

// Random streams; no figures from elsewhere.
TEST(WeightedMomentsTest, HalvesMergeToTheWhole) {
  naive::Random random(5);
  for (int round = 0; round < 200; ++round) {
    Values all;
    WeightedMoments halves[2];
    for (int i = 2 + random.Below(30); i > 0; --i) {
      const double value = random.Unit() * 100, weight = random.Unit() + .01;
      all.emplace_back(value, weight);
      halves[random.Below(2)].Add(value, weight);
    }
    halves[0].Merge(halves[1]);
    ExpectEqual(halves[0], Of(all), 1e-11);
  }
}

// Sums in two passes, after any mixture of steps.
TEST(WeightedMomentsTest, AgreesWithPlainSumsOnRandomSteps) {
  naive::Random random(6);
  for (int round = 0; round < 100; ++round) {
    Values held;
    WeightedMoments moments;
    for (int step = 0; step < 60; ++step) {
      const int what = random.Below(6);
      if (what == 0 && held.size() > 3) {
        const auto at = held.begin() + random.Below(static_cast<int>(held.size()));
        moments.Remove(at->first, at->second);
        held.erase(at);
      } else if (what == 1) {
        const double factor = .5 + random.Unit() / 2;
        moments.Fade(factor);
        for (auto& [value, weight] : held) weight *= factor;
      } else {
        held.emplace_back(random.Unit() - .3, random.Unit() + .1);
        moments.Add(held.back().first, held.back().second);
      }
    }
    double w1 = 0, w2 = 0, sum = 0, squares = 0;
    for (const auto& [value, weight] : held) {
      w1 += weight;
      w2 += weight * weight;
      sum += weight * value;
    }
    for (const auto& [value, weight] : held) {
      squares += weight * (value - sum / w1) * (value - sum / w1);
    }
    EXPECT_NEAR(moments.Mean(), sum / w1, 1e-9);
    EXPECT_NEAR(moments.Variance(), squares / w1, 1e-9);
    EXPECT_NEAR(*moments.SampleVariance(), squares / (w1 - w2 / w1), 1e-8);
  }
}

}  // namespace
}  // namespace plumblane
