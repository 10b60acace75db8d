#include "ranking/cost.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>

namespace plumblane {
namespace {

constexpr size_t kPoints = 33;  // of a rate
constexpr size_t kSteps = 128;  // of a cost table
using CostTable = std::array<double, kSteps + 1>;
constexpr double kDrop = 14;        // points reach to where the density is e^-14 of its peak ...
constexpr double kReach = 14;       // ... and at most this far from it on the logit scale
constexpr double kTie = 1e-12;      // costs closer than this part of them are equal
constexpr double kFewest = 32;      // cells that a contest starts with
constexpr double kMost = 1 / 64.0;  // chance that the cheapest lies in a cell, else it is split

// On the logit scale t = log(x / (1 - x)) the log of a Beta's density is a t - (a + b) log(1 + e^t)
// plus a constant: concave, with its peak at log(a / b).
double LogDensity(const Beta& beta, double t) {
  return beta.a * t - (beta.a + beta.b) * std::log1p(std::exp(t));
}

// Where points begin. Newton's rule on a concave function, started outside, stays outside.
double LowEnd(const Beta& beta) {
  const double peak = std::log(beta.a / beta.b);
  const double target = LogDensity(beta, peak) - kDrop;
  double t =
      peak - std::min(kReach, kDrop / beta.a + std::sqrt(2 * kDrop * (1 / beta.a + 1 / beta.b)));
  for (int step = 0; step < 3; ++step) {
    const double missing = target - LogDensity(beta, t);
    if (missing <= 0) break;
    t += missing / (beta.a - (beta.a + beta.b) / (1 + std::exp(-t)));
  }
  return t;
}
double HighEnd(const Beta& beta) { return -LowEnd({beta.b, beta.a}); }

// One rate and what it costs, between the ends of its points.
struct RateCost {
  RateCost(const Beta& rate, double per_one) : rate(rate), per_one(per_one) {
    if (per_one == 0) return;
    low_logit = LowEnd(rate);
    high_logit = HighEnd(rate);
    low = per_one / (1 + std::exp(-low_logit));
    high = per_one / (1 + std::exp(-high_logit));
  }

  Beta rate;
  double per_one;
  double low_logit = 0, high_logit = 0;
  double low = 0, high = 0;  // as costs
};

// What an order costs.
struct Cost {
  explicit Cost(const CostBelief& belief, double sharpening = 1)
      : fixed(belief.fixed),
        late({belief.late.a * sharpening, belief.late.b * sharpening}, belief.per_late),
        bad({belief.bad.a * sharpening, belief.bad.b * sharpening}, belief.per_bad) {
    assert(std::isfinite(fixed) && belief.per_late >= 0 && belief.per_bad >= 0);
  }
  double low() const { return fixed + late.low + bad.low; }
  double high() const { return fixed + late.high + bad.high; }

  double fixed;
  RateCost late, bad;
};

// What one rate costs as points with weights, and its distribution function between them.
class RatePoints {
 public:
  explicit RatePoints(const RateCost& cost) : first_(cost.low), last_(cost.high) {
    if (cost.per_one == 0) return;  // one point at 0
    size_ = kPoints;
    const Beta& rate = cost.rate;
    const double step = (cost.high_logit - cost.low_logit) / (kPoints - 1);
    const double ratio = std::exp(step), total = rate.a + rate.b;
    const double peak = LogDensity(rate, std::log(rate.a / rate.b));
    std::array<double, kPoints> slope;  // of the log density
    double odds = std::exp(cost.low_logit), sum = 0;
    for (size_t k = 0; k < kPoints; ++k, odds *= ratio) {
      const double t = cost.low_logit + static_cast<double>(k) * step, rest = 1 / (1 + odds);
      weight_[k] = std::exp(rate.a * t - total * std::log1p(odds) - peak);
      at_[k] = cost.per_one * odds * rest;
      slope[k] = rate.a * rest - rate.b * odds * rest;
      density_[k] = weight_[k] / (step * at_[k] * rest);
      sum += weight_[k];
    }
    // What lies beyond either end falls off evenly: a geometric series, put on the last point.
    constexpr size_t kLast = kPoints - 1;
    const double before = weight_[0] / std::expm1(std::max(slope[0], 1e-9) * step);
    const double after = weight_[kLast] / std::expm1(std::max(-slope[kLast], 1e-9) * step);
    sum += before + after;
    // The distribution function at a point: half of its own weight, less the first term of the
    // Euler-Maclaurin formula.
    double below = before;
    concentration_ = 0;
    for (size_t k = 0; k < kPoints; ++k) {
      concentration_ += weight_[k] * density_[k] / (sum * sum);
      below_[k] = (below + weight_[k] * (0.5 - slope[k] * step / 12)) / sum;
      below += weight_[k];
      weight_[k] /= sum;
      density_[k] /= sum;
    }
    weight_[0] += before / sum;
    weight_[kLast] += after / sum;
  }

  double low() const { return first_; }
  size_t size() const { return size_; }
  double at(size_t k) const { return at_[k]; }
  double weight(size_t k) const { return weight_[k]; }
  // The mean of its density: the larger, the more of it lies close together.
  double concentration() const { return concentration_; }

  // P(cost <= x).
  double Below(double x) const {
    if (x < first_) return 0;
    if (x >= last_) return 1;
    const auto next = std::upper_bound(at_.begin() + 1, at_.begin() + size_ - 1, x);
    return Between(static_cast<size_t>(next - at_.begin()) - 1, x);
  }

  // The same at low(), low() + step, ...
  void Tabulate(double step, CostTable& table) const {
    if (size_ == 1) return table.fill(1);
    size_t k = 0;
    for (size_t i = 0; i <= kSteps; ++i) {
      const double x = first_ + static_cast<double>(i) * step;
      if (x >= last_) {
        std::fill(table.begin() + static_cast<ptrdiff_t>(i), table.end(), 1.0);
        return;
      }
      while (k + 2 < size_ && at_[k + 1] <= x) ++k;
      table[i] = Between(k, x);
    }
  }

 private:
  // The cubic with the values and slopes of both points.
  double Between(size_t k, double x) const {
    const double width = at_[k + 1] - at_[k], u = std::max(0.0, (x - at_[k]) / width);
    const double rise = below_[k + 1] - below_[k];
    const double start = density_[k] * width - rise, end = rise - density_[k + 1] * width;
    return below_[k] + u * (rise + (1 - u) * (start * (1 - u) + end * u));
  }

  double first_, last_;
  size_t size_ = 1;
  double concentration_ = std::numeric_limits<double>::infinity();
  std::array<double, kPoints> at_{}, weight_{1}, below_{1}, density_{};
};

// The rate that lies closer together counts by its points, the other by its distribution function,
// which is smooth over the steps between them.
class CostPoints {
 public:
  explicit CostPoints(const Cost& cost) : fixed_(cost.fixed), one_(cost.late), other_(cost.bad) {
    if (one_.concentration() < other_.concentration()) std::swap(one_, other_);
  }

  // P(cost <= c).
  double Below(double c) const {
    double sum = 0;
    for (size_t k = 0; k < one_.size(); ++k) {
      sum += one_.weight(k) * other_.Below(c - fixed_ - one_.at(k));
    }
    return sum;
  }

  // P(cost > low + i step), where low is the least of all costs.
  void Tabulate(double step, CostTable& above) const {
    CostTable other;
    other_.Tabulate(step, other);
    above.fill(1);
    for (size_t k = 0; k < one_.size(); ++k) {
      // A point between two costs of the table counts at both, the nearer the more: so the mean
      // stays what it is.
      const double shift = (one_.at(k) - one_.low()) / step;
      if (!(shift < kSteps)) break;
      const auto whole = static_cast<size_t>(shift);
      const double far = one_.weight(k) * (shift - static_cast<double>(whole));
      const double near = one_.weight(k) - far;
      above[whole] -= near * other[0];
      for (size_t i = 1; i <= kSteps - whole; ++i) {
        above[whole + i] -= near * other[i] + far * other[i - 1];
      }
    }
  }

 private:
  double fixed_;
  RatePoints one_, other_;
};

double Tiny(double cost) { return kTie * std::max(1.0, std::abs(cost)); }

// P(cost > c) of a candidate up to where the contest is decided: linear between even steps.
class Table {
 public:
  Table(const Cost& cost, double top) : low_(cost.low()) {
    step_ = (std::min(top, cost.high()) - low_) / kSteps;
    if (step_ <= Tiny(low_)) {  // as good as certain
      step_ = 0;
      return;
    }
    CostPoints(cost).Tabulate(step_, above_);
  }

  double Above(double c) const {
    if (c < low_) return 1;
    const double x = (c - low_) / step_;  // certain: infinite, or not a number at low_ itself
    if (!(x < kSteps)) return step_ > 0 ? above_[kSteps] : 0;
    const auto i = static_cast<size_t>(x);
    return above_[i] + (x - static_cast<double>(i)) * (above_[i + 1] - above_[i]);
  }

 private:
  double low_, step_;
  CostTable above_;
};

// Costs at which all are compared, close enough that the cheapest is rarely two of them at once.
class Contest {
 public:
  Contest(const std::vector<Table>& tables, double low, double high) : tables_(tables) {
    chances_.resize(tables.size());
    Edge left = At(low);
    for (int cell = 1; cell <= kFewest; ++cell) {
      Edge right = At(low + (high - low) * cell / kFewest);
      Split(left, right);
      left = std::move(right);
    }
  }

  const std::vector<double>& chances() const { return chances_; }

 private:
  struct Edge {
    double cost = 0, all = 1;   // chance that all are dearer
    std::vector<double> above;  // and of each
  };

  Edge At(double cost) const {
    Edge edge{cost, 1, {}};
    edge.above.reserve(tables_.size());
    for (const Table& table : tables_) {
      edge.above.push_back(table.Above(cost));
      edge.all *= edge.above.back();
    }
    return edge;
  }

  void Split(const Edge& left, const Edge& right) {
    if (left.all - right.all <= kMost || right.cost - left.cost <= Tiny(left.cost)) {
      return Settle(left, right);
    }
    const Edge middle = At((left.cost + right.cost) / 2);
    Split(left, middle);
    Split(middle, right);
  }

  // Within a cell each is spread evenly. Gauss-Legendre with two points: exact for up to four.
  void Settle(const Edge& left, const Edge& right) {
    if (left.all == right.all) return;
    for (const double u : {0.5 - 0.5 / std::sqrt(3.0), 0.5 + 0.5 / std::sqrt(3.0)}) {
      double all = 1;
      for (size_t i = 0; i < tables_.size(); ++i) {
        all *= left.above[i] + u * (right.above[i] - left.above[i]);
      }
      for (size_t i = 0; i < tables_.size(); ++i) {
        const double inside = left.above[i] - right.above[i];
        if (inside > 0) chances_[i] += all * inside / (left.above[i] - u * inside) / 2;
      }
    }
  }

  const std::vector<Table>& tables_;
  std::vector<double> chances_;
};

}  // namespace

double CostBelief::Expected() const {
  return fixed + per_late * late.Mean() + per_bad * bad.Mean();
}

double CostBelief::StandardDeviation() const {
  return std::sqrt(per_late * per_late * late.Variance() + per_bad * per_bad * bad.Variance());
}

CostQuantiles QuantilesOf(const CostBelief& belief) {
  const Cost cost(belief);
  const CostPoints points(cost);
  const auto quantile = [&](double p) {
    double low = cost.low(), high = cost.high();
    while (high - low > kTie * (cost.high() - cost.low()) + Tiny(low)) {
      const double middle = (low + high) / 2;
      (points.Below(middle) < p ? low : high) = middle;
    }
    return high;
  };
  return {quantile(0.05), quantile(0.5), quantile(0.95)};
}

std::vector<double> ChancesOfCheapest(std::span<const CostBelief> beliefs, double sharpening) {
  assert(!beliefs.empty() && sharpening > 0);
  struct Entrant {
    size_t belief;
    Cost cost;
  };
  std::vector<Entrant> entrants;
  double low = std::numeric_limits<double>::infinity(), high = low;
  for (size_t i = 0; i < beliefs.size(); ++i) {
    if (beliefs[i].fixed > high) continue;
    const Cost cost(beliefs[i], sharpening);
    if (cost.low() > high) continue;
    low = std::min(low, cost.low());
    high = std::min(high, cost.high());
    entrants.push_back({i, cost});
  }
  std::erase_if(entrants, [&](const Entrant& entrant) { return entrant.cost.low() > high; });

  std::vector<Table> tables;
  tables.reserve(entrants.size());
  for (const Entrant& entrant : entrants) tables.emplace_back(entrant.cost, high);
  const Contest contest(tables, low - Tiny(low), high + Tiny(high));
  double sum = 0;
  for (const double chance : contest.chances()) sum += chance;
  std::vector<double> chances(beliefs.size());
  for (size_t i = 0; i < entrants.size(); ++i) {
    chances[entrants[i].belief] = contest.chances()[i] / sum;
  }
  return chances;
}

}  // namespace plumblane
