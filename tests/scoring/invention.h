// Invented fleets whose true rates are known: for tests of how well estimates do.
#pragma once

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "scoring/fleet_prior.h"
#include "scoring/naive_model.h"

namespace plumblane {

// Draws from a fixed seed.
class Dice : public naive::Random {
 public:
  using Random::Random;

  // Standard normal (G. Box, M. Muller, Ann. Math. Statist. 29 (1958) 610-611).
  double Normal() {
    const double radius = std::sqrt(-2 * std::log(1 - Unit()));
    return radius * std::cos(2 * std::acos(-1.0) * Unit());
  }

  // Poisson, by counting waits. For means up to some hundreds.
  int Count(double mean) {
    int count = 0;
    for (double left = mean; (left += std::log(1 - Unit())) > 0;) ++count;
    return count;
  }

  int Hits(int orders, double rate) {
    int hits = 0;
    for (int i = 0; i < orders; ++i) hits += Unit() < rate;
    return hits;
  }

  // Beta(a, b) as the share of two gammas (G. Marsaglia, W. Tsang, ACM TOMS 26 (2000) 363-372).
  double FromBeta(double a, double b) {
    const double x = FromGamma(a);
    return x / (x + FromGamma(b));
  }

 private:
  double FromGamma(double shape) {  // REQUIRES: shape >= 1
    const double d = shape - 1.0 / 3, c = 1 / std::sqrt(9 * d);
    while (true) {
      const double z = Normal(), v = std::pow(1 + c * z, 3);
      if (v > 0 && std::log(1 - Unit()) < z * z / 2 + d - d * v + d * std::log(v)) return d * v;
    }
  }
};

inline double Logit(double p) { return std::log(p / (1 - p)); }
inline double Expit(double x) { return 1 / (1 + std::exp(-x)); }

inline Pair PairOf(int supplier, int lane) {
  return {"s" + std::to_string(supplier), {"VN", "D" + std::to_string(lane), ""}};
}

struct InventedPair {
  RateRecord record;
  double rate = 0;  // the truth
};
using Fleet = std::vector<InventedPair>;

// Undecayed: every order weighs 1.
struct FleetPlan {
  int suppliers = 40, lanes = 30;
  int lanes_each = 30;                                    // worked by a supplier, drawn at random
  double rate = 0.15;                                     // of a pair without effects
  double supplier_sd = 0.5, lane_sd = 0.5, own_sd = 0.3;  // on the logit scale
  double orders = 6;                                      // mean of a pair
  bool uneven = true;  // exponentially distributed means, or all alike
};

inline Fleet Invent(const FleetPlan& plan, Dice& dice) {
  std::vector<double> suppliers, lanes;
  for (int i = 0; i < plan.suppliers; ++i) suppliers.push_back(plan.supplier_sd * dice.Normal());
  for (int i = 0; i < plan.lanes; ++i) lanes.push_back(plan.lane_sd * dice.Normal());
  std::vector<int> order(lanes.size());
  for (size_t i = 0; i < order.size(); ++i) order[i] = static_cast<int>(i);
  Fleet fleet;
  for (int s = 0; s < plan.suppliers; ++s) {
    for (int i = 0; i < plan.lanes_each; ++i) {
      std::swap(order[static_cast<size_t>(i)],
                order[static_cast<size_t>(i + dice.Below(plan.lanes - i))]);
      const int lane = order[static_cast<size_t>(i)];
      const double rate = Expit(Logit(plan.rate) + suppliers[static_cast<size_t>(s)] +
                                lanes[static_cast<size_t>(lane)] + plan.own_sd * dice.Normal());
      const double mean = plan.uneven ? -plan.orders * std::log(1 - dice.Unit()) : plan.orders;
      const int orders = dice.Count(mean);
      if (orders == 0) continue;
      InventedPair pair{{PairOf(s, lane), {}}, rate};
      pair.record.sums.Add(1, orders, dice.Hits(orders, rate));
      fleet.push_back(pair);
    }
  }
  return fleet;
}

inline std::vector<RateRecord> RecordsOf(const Fleet& fleet) {
  std::vector<RateRecord> records;
  for (const InventedPair& pair : fleet) records.push_back(pair.record);
  return records;
}

// Sums over pairs: of the squared error of an estimate, and of the times its limits held the truth.
struct Judgement {
  double squares = 0, covered = 0, width = 0, count = 0;

  void Judge(const Beta& posterior, double rate) {
    const Interval limits = posterior.Limits();
    squares += std::pow(posterior.Mean() - rate, 2);
    covered += limits.low <= rate && rate <= limits.high;
    width += limits.high - limits.low;
    count += 1;
  }
  double Error() const { return squares / count * 1e4; }
  double Coverage() const { return covered / count; }
  double Width() const { return width / count; }
};

}  // namespace plumblane
