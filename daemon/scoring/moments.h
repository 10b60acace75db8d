// Mean and variance of weighted values, kept up to date as values come, fade and are taken out.
//
// Held are W1 = sum w, W2 = sum w^2, the mean, and M2 = sum w (x - mean)^2. Sums of squares less
// the square of a sum would lose all digits where values are large and close together, as sums of
// money are; these recurrences do not:
//   add x by w      q = x - mean, r = q w/(W1 + w): mean += r, M2 += W1 q r
//   take x out      the same backwards; what rounding leaves below 0 is 0
//   merge a, b      M2 = M2a + M2b + (mean_b - mean_a)^2 W1a W1b/(W1a + W1b)
//   fade by f       W1, M2 times f, W2 times f^2; the mean stays
//
// Of a sample the variance is M2/(W1 - W2/W1). Weights here say how much a value is worth, not how
// often it was seen, so that M2/(W1 - 1) would depend on their unit: halving all would change it.
//
// Source: D. West, "Updating mean and variance estimates: an improved method", Commun. ACM 22
// (1979) 532-535. The last line is the variance under "reliability weights".
//
// Plain values; not thread-safe. Every step is O(1).
#pragma once

#include <optional>

namespace plumblane {

class WeightedMoments {
 public:
  // REQUIRES: weight >= 0, both finite.
  void Add(double value, double weight = 1);

  // Takes out what was added, and has since faded, with this weight by now. When next to nothing
  // is left (1e-9 of the weight), nothing is.
  void Remove(double value, double weight = 1);

  void Merge(const WeightedMoments& other);

  // REQUIRES: 0 <= factor <= 1.
  void Fade(double factor);

  double w1() const { return w1_; }
  double w2() const { return w2_; }

  // REQUIRES: w1() > 0.
  double Mean() const;

  // Of the values at hand: M2/W1. REQUIRES: w1() > 0.
  double Variance() const;

  // Of what they are a sample of: M2/(W1 - W2/W1); none with fewer than two values' worth.
  std::optional<double> SampleVariance() const;

 private:
  double w1_ = 0, w2_ = 0;
  double mean_ = 0;
  double m2_ = 0;
};

}  // namespace plumblane
