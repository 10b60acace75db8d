// A second account of every score, for comparison: lists of single orders and plain loops, written
// from the rules and not from the sources. Slow on purpose.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <random>
#include <vector>

#include "scoring/beta.h"
#include "scoring/score.h"

namespace plumblane::naive {

// The same numbers on every machine, unlike the distributions of the standard library.
class Random {
 public:
  explicit Random(uint64_t seed) : engine_(seed) {}
  int Below(int limit) { return static_cast<int>(engine_() % static_cast<uint64_t>(limit)); }
  double Unit() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }

 private:
  std::mt19937_64 engine_;
};

// One order in one measure.
struct Order {
  Day day;
  bool excused = false;
  std::optional<Code> code;  // what became of it, in the end
  uint32_t bucket = 0;
};

using Orders = std::array<std::vector<Order>, kMeasureCount>;

// True when the order's outcome counts at the moment.
bool IsKnown(Measure measure, const Order& order, const Moment& moment);

MeasureSet CellsOf(const Orders& orders);
Priors PooledPriors(const Orders& total, const Moment& moment, const ScoreRules& rules);
ScoreEstimate ScoreOf(const Orders& orders, Scope scope, const Priors& priors, const Moment& moment,
                      const ScoreRules& rules);

// One order on a curve: the last bucket in which it is at risk, and whether it ends there by an
// event.
struct Life {
  int last = 0;
  bool event = false;
  double weight = 1;
};
struct Point {
  double survival = 1;
  std::optional<Interval> limits;  // none before the first event and when nobody is left
};
Point CurveAt(const std::vector<Life>& lives, int bucket);

// By a continued fraction (W. Press et al., "Numerical Recipes", 3rd ed., sec. 6.4), and bisection.
double BetaCdf(double a, double b, double x);
double BetaQuantile(double a, double b, double p);

}  // namespace plumblane::naive
