// Orders drawn for tests of charts; every draw is named, so nothing depends on the order of tests.
#pragma once

#include <cmath>
#include <cstdint>

#include "base/philox.h"

namespace plumblane {

class Draws {
 public:
  explicit Draws(uint64_t seed, uint64_t stream = 0) : seed_(seed), stream_(stream) {}

  double Unit() { return Uniform(seed_, stream_, next_++); }
  bool Hit(double rate) { return Unit() < rate; }

  int64_t Hits(int64_t orders, double rate) {
    int64_t hits = 0;
    for (int64_t i = 0; i < orders; ++i) hits += Hit(rate);
    return hits;
  }

  // Hits of a day whose rate is drawn from a Beta of this mean and correlation 1/(a + b + 1), by
  // Polya's urn.
  int64_t Hits(int64_t orders, double rate, double correlation) {
    if (correlation == 0) return Hits(orders, rate);
    const double strength = 1 / correlation - 1;
    int64_t hits = 0;
    for (int64_t i = 0; i < orders; ++i) {
      hits +=
          Hit((rate * strength + static_cast<double>(hits)) / (strength + static_cast<double>(i)));
    }
    return hits;
  }

  // Poisson, by counting waits.
  int64_t Count(double mean) {
    int64_t count = 0;
    for (double left = mean; (left += std::log(Unit())) > 0;) ++count;
    return count;
  }

  // Beta with whole parameters: the share of one of two sums of exponentials.
  double Beta(int a, int b) {
    double x = 0, y = 0;
    for (int i = 0; i < a; ++i) x -= std::log(Unit());
    for (int i = 0; i < b; ++i) y -= std::log(Unit());
    return x / (x + y);
  }

 private:
  uint64_t seed_, stream_, next_ = 0;
};

}  // namespace plumblane
