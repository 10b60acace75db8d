// The Beta distribution, and intervals of shares.
//
// A share p of which s in n weighted orders were seen, with a prior Beta(a, b), has the posterior
// Beta(a + s, b + n - s); s and n need not be whole. The equal-tailed interval leaves the same
// probability out on either side.
//
// Sources: regularised incomplete beta function and its inverses after Boost.Math; E. B. Wilson,
// "Probable inference, the law of succession, and statistical inference", JASA 22 (1927) 209-212;
// L. Brown, T. Cai, A. DasGupta, "Interval estimation for a binomial proportion", Statist. Sci. 16
// (2001) 101-133.
//
// Pure and thread-safe.
#pragma once

namespace plumblane {

// Every interval that is shown covers this much probability.
inline constexpr double kIntervalLevel = 0.95;

// The standard normal quantile of (1 + kIntervalLevel) / 2.
inline constexpr double kNormalLimit = 1.9599639845400542;

struct Interval {
  double low = 0;
  double high = 0;
  bool operator==(const Interval&) const = default;
};

// REQUIRES, for all members: a > 0, b > 0. Below about 0.02 quantiles may underflow to 0.
struct Beta {
  double a = 1;
  double b = 1;

  double Mean() const { return a / (a + b); }
  double Variance() const { return a * b / ((a + b) * (a + b) * (a + b + 1)); }

  // The one with this mean and variance. REQUIRES: 0 < mean < 1, 0 < variance < mean (1 - mean).
  static Beta OfMoments(double mean, double variance);

  // P(X <= x). REQUIRES: 0 <= x <= 1.
  double Cdf(double x) const;

  // The x with P(X <= x) = p. REQUIRES: 0 <= p <= 1.
  double Quantile(double p) const;

  // The x with P(X > x) = q; keeps its accuracy for small q, where 1 - q would lose it.
  // REQUIRES: 0 <= q <= 1.
  double UpperQuantile(double q) const;

  // Equal-tailed interval. REQUIRES: 0 < level < 1.
  Interval Limits(double level = kIntervalLevel) const;

  bool operator==(const Beta&) const = default;
};

// Wilson's score interval of a share, for undecayed counts; both may be fractional. It is exactly
// 0 below when hits = 0 and exactly 1 above when hits = trials.
// REQUIRES: 0 <= hits <= trials, trials > 0, 0 < level < 1.
Interval WilsonLimits(double hits, double trials, double level = kIntervalLevel);

// log of B(a + hits, b + misses) / B(a, b): how likely the counts are under `prior`, up to a factor
// that does not depend on it (the beta-binomial distribution: J. Skellam, JRSS B 10 (1948)
// 257-261).
// Counts may be fractional; it is exactly 0 without any.
// REQUIRES: hits >= 0, misses >= 0. Costs about 0.1 us.
double LogEvidence(const Beta& prior, double hits, double misses);

// First and second derivative of log Gamma. REQUIRES: x > 0.
double Digamma(double x);
double Trigamma(double x);

}  // namespace plumblane
