#include "ranking/cost.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>

namespace plumblane {
namespace {

constexpr size_t kPoints = 25;                     // of a rate
constexpr size_t kSteps = 128;                     // of a cost table ...
constexpr size_t kFewSteps = 64;                   // ... and of one among more than this many
using CostTable = std::array<double, kSteps + 2>;  // the last step is beyond what is asked
constexpr double kDrop = 11;        // points reach to where the density is e^-11 of its peak ...
constexpr double kReach = 14;       // ... and at most this far from it on the logit scale
constexpr double kTie = 1e-12;      // costs closer than this part of them are equal
constexpr double kNever = 1e-6;     // chance that all cost more than what is looked at
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

  double MostAbove(double cost) const {
    const double mean = fixed + late.per_one * late.rate.Mean() + bad.per_one * bad.rate.Mean();
    if (cost <= mean) return 1;
    const double variance = late.per_one * late.per_one * late.rate.Variance() +
                            bad.per_one * bad.per_one * bad.rate.Variance();
    return variance / (variance + (cost - mean) * (cost - mean));
  }

  double fixed;
  RateCost late, bad;
};

// The distribution function of what one rate costs, from points of its density.
class RatePoints {
 public:
  explicit RatePoints(const RateCost& cost) : first_(cost.low) {
    if (cost.per_one == 0) return;  // certainly 0
    size_ = kPoints;
    const Beta& rate = cost.rate;
    const double step = (cost.high_logit - cost.low_logit) / (kPoints - 1);
    const double ratio = std::exp(step), total = rate.a + rate.b;
    const double peak = LogDensity(rate, std::log(rate.a / rate.b));
    std::array<double, kPoints> weight, slope;  // slope: of the log density
    double odds = std::exp(cost.low_logit), sum = 0;
    for (size_t k = 0; k < kPoints; ++k, odds *= ratio) {
      const double t = cost.low_logit + static_cast<double>(k) * step, rest = 1 / (1 + odds);
      weight[k] = std::exp(rate.a * t - total * std::log1p(odds) - peak);
      slope[k] = rate.a * rest - rate.b * odds * rest;
      at_[k] = cost.per_one * odds * rest;
      density_[k] = weight[k] / (step * at_[k] * rest);
      sum += weight[k];
    }
    // What lies beyond either end falls off evenly: a geometric series.
    constexpr size_t kLast = kPoints - 1;
    const double before = weight[0] / std::expm1(std::max(slope[0], 1e-9) * step);
    sum += before + weight[kLast] / std::expm1(std::max(-slope[kLast], 1e-9) * step);
    // Below a point: half of its own weight, less the first term of the Euler-Maclaurin formula.
    double below = before;
    for (size_t k = 0; k < kPoints; ++k) {
      const double here = (below + weight[k] * (0.5 - slope[k] * step / 12)) / sum;
      below_[k] = std::clamp(here, k > 0 ? below_[k - 1] : 0, 1.0);
      below += weight[k];
      density_[k] /= sum;
    }
  }

  // Puts the probability on even steps from the least cost; what lies between two counts at both,
  // the nearer the more, so that the mean stays what it is. What lies beyond is left out. Returns
  // how many steps have some.
  size_t Spread(double step, size_t count, CostTable& steps) const {
    std::fill_n(steps.begin(), count + 2, 0);
    size_t used = 0;
    const auto put = [&](double cost, double probability) {
      const double place = std::max(0.0, (cost - first_) / step);
      if (place > count + 1) return;
      const size_t whole = std::min(static_cast<size_t>(place), count);
      const double far = probability * (place - static_cast<double>(whole));
      steps[whole] += probability - far;
      steps[whole + 1] += far;
      used = whole + 2;
    };
    put(first_, below_[0]);
    double next = first_ + step;
    const double end = first_ + step * (count + 2);
    for (size_t k = 0; k + 1 < size_ && at_[k] < end; ++k) {
      double from = at_[k], below = below_[k];
      while (next < std::min(end, at_[k + 1])) {
        const double below_next = std::clamp(Between(k, next), below, below_[k + 1]);
        put((from + next) / 2, below_next - below);
        from = next;
        below = below_next;
        next += step;
      }
      put((from + at_[k + 1]) / 2, below_[k + 1] - below);
    }
    put(at_[size_ - 1], 1 - below_[size_ - 1]);
    return used;
  }

  // The probability below the middle of each even step from the least cost.
  void Below(double step, size_t count, CostTable& middles) const {
    size_t k = 0;
    double least = below_[0];
    for (size_t i = 0; i <= count; ++i) {
      const double cost = first_ + (static_cast<double>(i) + 0.5) * step;
      for (; k + 1 < size_ && at_[k + 1] <= cost; ++k) least = below_[k + 1];
      if (k + 1 < size_) least = std::clamp(Between(k, cost), least, below_[k + 1]);
      middles[i] = k + 1 < size_ ? least : 1;
    }
  }

 private:
  // The cubic with the values and slopes of both points.
  double Between(size_t k, double cost) const {
    const double width = at_[k + 1] - at_[k], u = (cost - at_[k]) / width;
    const double rise = below_[k + 1] - below_[k];
    const double start = density_[k] * width - rise, end = rise - density_[k + 1] * width;
    return below_[k] + u * (rise + (1 - u) * (start * (1 - u) + end * u));
  }

  double first_;
  size_t size_ = 1;
  std::array<double, kPoints> at_{}, below_{1}, density_{};
};

struct CostPoints {
  explicit CostPoints(const Cost& cost) : late(cost.late), bad(cost.bad) {}
  RatePoints late, bad;
};

double Tiny(double cost) { return kTie * std::max(1.0, std::abs(cost)); }

// P(cost > c) up to a cost, at the middles of even steps, and between them in a straight line.
class Table {
 public:
  Table(const Cost& cost, const CostPoints& points, double top, size_t steps = kSteps)
      : low_(cost.low()), steps_(steps) {
    step_ = (std::min(top, cost.high()) - low_) / static_cast<double>(steps);
    if (step_ <= Tiny(low_)) {  // as good as certain
      step_ = Tiny(low_);
      above_.fill(0);
      above_[0] = 1;
      return;
    }
    // The narrower is put on steps: that much less is lost of what it is.
    const bool late_is_wide = cost.late.high - cost.late.low >= cost.bad.high - cost.bad.low;
    const RatePoints& wide = late_is_wide ? points.late : points.bad;
    const RatePoints& narrow = late_is_wide ? points.bad : points.late;
    CostTable masses, middles, below{};
    const size_t used = std::min(narrow.Spread(step_, steps, masses), steps + 1);
    wide.Below(step_, steps, middles);
    for (size_t i = 0; i < used; ++i) {
      for (size_t j = i; j <= steps; ++j) below[j] += masses[i] * middles[j - i];
    }
    above_[0] = 1;
    for (size_t i = 0; i <= steps; ++i) {
      above_[i + 1] = std::clamp(1 - below[i], 0.0, above_[i]);
    }
  }

  double Above(double cost) const {
    const double place = (cost - low_) / step_ + 0.5;
    if (place <= 0) return 1;
    if (!(place < static_cast<double>(steps_ + 1))) return above_[steps_ + 1];
    const auto i = static_cast<size_t>(place);
    return above_[i] + (place - static_cast<double>(i)) * (above_[i + 1] - above_[i]);
  }

  // The cost with that much probability below it, at most where the table ends.
  double Quantile(double p) const {
    size_t i = 0;
    while (i < steps_ && above_[i + 1] > 1 - p) ++i;
    const double more = above_[i] - (1 - p), inside = above_[i] - above_[i + 1];
    const double part = more < inside ? more / inside : 1;
    return std::max(low_, low_ + (static_cast<double>(i) + part - 0.5) * step_);
  }

  double start() const { return low_ - step_ / 2; }
  double step() const { return step_; }

 private:
  double low_, step_;
  size_t steps_;
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

// Quantiles of a cost, from high to low.
class QuantileFinder {
 public:
  explicit QuantileFinder(const CostBelief& belief)
      : cost_(belief), points_(cost_), top_(cost_.high()), table_(cost_, points_, top_) {}

  // REQUIRES: p no larger than before.
  double Next(double p) {
    while (true) {
      const double found = table_.Quantile(p);
      // One that lies at the foot of a table is looked up in a finer one.
      const double foot = cost_.low() + (top_ - cost_.low()) / 4;
      if (found > foot || table_.step() <= Tiny(top_)) return found;
      top_ = found + 2 * table_.step();
      table_ = Table(cost_, points_, top_);
    }
  }

 private:
  Cost cost_;
  CostPoints points_;
  double top_;
  Table table_;
};

}  // namespace

double CostBelief::Expected() const {
  return fixed + per_late * late.Mean() + per_bad * bad.Mean();
}

double CostBelief::StandardDeviation() const {
  return std::sqrt(per_late * per_late * late.Variance() + per_bad * per_bad * bad.Variance());
}

CostQuantiles QuantilesOf(const CostBelief& belief) {
  QuantileFinder finder(belief);
  CostQuantiles quantiles;
  quantiles.high = finder.Next(0.95);
  quantiles.median = finder.Next(0.5);
  quantiles.low = finder.Next(0.05);
  return quantiles;
}

double QuantileOf(const CostBelief& belief, double p) {
  assert(p > 0 && p < 1);
  return QuantileFinder(belief).Next(p);
}

double ChanceAtMost(const CostBelief& belief, double amount) {
  const Cost cost(belief);
  if (amount < cost.low()) return 0;
  if (amount >= cost.high()) return 1;
  return 1 - Table(cost, CostPoints(cost), amount).Above(amount);
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
  const auto top = [&](double cost) {
    double all = 1;
    for (const Entrant& entrant : entrants) all *= entrant.cost.MostAbove(cost);
    return all <= kNever;
  };
  if (top(high)) {
    for (double from = low, width = (high - low) / 2; width > (high - low) / 4096; width /= 2) {
      (top(from + width) ? high : from) = from + width;
    }
  }
  std::erase_if(entrants, [&](const Entrant& entrant) { return entrant.cost.low() > high; });

  std::vector<Table> tables;
  tables.reserve(entrants.size());
  const size_t steps = entrants.size() > kFewSteps ? kFewSteps : kSteps;
  for (const Entrant& entrant : entrants) {
    tables.emplace_back(entrant.cost, CostPoints(entrant.cost), high, steps);
    low = std::min(low, tables.back().start());
  }
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
