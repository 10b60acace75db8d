#include "scoring/strength.h"

#include <algorithm>
#include <array>
#include <boost/math/special_functions/chebyshev.hpp>
#include <cassert>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

namespace plumblane {
namespace {

constexpr size_t kDegree = 16;
constexpr int kGrid = 129;
constexpr double kLogStep = 1e-3;
constexpr int kMostSteps = 200;
constexpr double kNewtonStep = 1e-11;  // in log a and log b
constexpr double kRoundedHeight = 1e-5;
constexpr double kLongestStep = 2;
constexpr double kFlat = 1e-9;

double Misses(const RateGroup& group) { return std::max(0.0, group.orders - group.hits); }

struct Point {
  double log_strength = 0;
  double log_likelihood = 0;
};

// The log likelihood over log M from kLeastStrength to kMostStrength, as a sum of Chebyshev's
// polynomials through kDegree + 1 points.
class Curve {
 public:
  explicit Curve(std::span<const RateGroup> groups) {
    std::array<double, kDegree + 1> heights;
    for (size_t k = 0; k <= kDegree; ++k) {
      heights[k] = LogLikelihood(groups, std::exp(low_ + (high_ - low_) * (1 + Cosine(k)) / 2));
    }
    heights.front() /= 2;
    heights.back() /= 2;
    for (size_t j = 0; j <= kDegree; ++j) {
      for (size_t k = 0; k <= kDegree; ++k) {
        terms_[j] += 2.0 / kDegree * heights[k] * Cosine(j * k);
      }
    }
    terms_.back() /= 2;
  }

  Point At(double log_strength) const {
    const double x = 2 * (log_strength - low_) / (high_ - low_) - 1;
    return {log_strength,
            boost::math::chebyshev_clenshaw_recurrence(terms_.data(), terms_.size(), x)};
  }

  // About what the curve is off by: 0.5 of it in the mean over 72 random fleets, 3.8 at most.
  double last_terms() const { return std::fabs(terms_[kDegree - 1]) + std::fabs(terms_[kDegree]); }
  double low() const { return low_; }
  double high() const { return high_; }

 private:
  static double Cosine(size_t k) {
    static const auto kCosines = [] {
      std::array<double, 2 * kDegree> cosines;
      for (size_t i = 0; i < cosines.size(); ++i) {
        cosines[i] = std::cos(std::numbers::pi * static_cast<double>(i) / kDegree);
      }
      return cosines;
    }();
    return kCosines[k % kCosines.size()];
  }

  double low_ = std::log(kLeastStrength), high_ = std::log(kMostStrength);
  std::array<double, kDegree + 1> terms_{};
};

// Golden section; every point it looks at is kept.
void Refine(const Curve& curve, double low, double high, std::vector<Point>& points) {
  static const double kRatio = (std::sqrt(5.0) - 1) / 2;
  const auto at = [&](double x) {
    points.push_back(curve.At(x));
    return points.back();
  };
  Point left = at(high - kRatio * (high - low));
  Point right = at(low + kRatio * (high - low));
  while (high - low > kLogStep) {
    if (left.log_likelihood >= right.log_likelihood) {
      high = std::exchange(right, left).log_strength;
      left = at(high - kRatio * (high - low));
    } else {
      low = std::exchange(left, right).log_strength;
      right = at(low + kRatio * (high - low));
    }
  }
}

// E[1/(M + 1)] over points ascending in log M, by the trapezoidal rule.
double MeanShare(std::span<const Point> points, double peak) {
  double mass = 0, moment = 0;
  for (size_t i = 0; i < points.size(); ++i) {
    const Point& before = points[i > 0 ? i - 1 : i];
    const Point& after = points[i + 1 < points.size() ? i + 1 : i];
    const double density =
        (after.log_strength - before.log_strength) * std::exp(points[i].log_likelihood - peak);
    mass += density;
    moment += density / (std::exp(points[i].log_strength) + 1);
  }
  return moment / mass;
}

// Gradient and Hessian of the log likelihood in a and b.
struct Slope {
  double a = 0, b = 0, aa = 0, ab = 0, bb = 0;
};

Slope SlopeAt(std::span<const RateGroup> groups, const Beta& beta) {
  const double psi_a = Digamma(beta.a), psi_b = Digamma(beta.b), psi = Digamma(beta.a + beta.b);
  const double tri_a = Trigamma(beta.a), tri_b = Trigamma(beta.b);
  const double tri = Trigamma(beta.a + beta.b);
  Slope slope;
  for (const RateGroup& group : groups) {
    const double hits = group.hits, misses = Misses(group), w = group.weight;
    const double shared = psi - Digamma(beta.a + beta.b + hits + misses);
    const double bend = tri - Trigamma(beta.a + beta.b + hits + misses);
    slope.a += w * (Digamma(beta.a + hits) - psi_a + shared);
    slope.b += w * (Digamma(beta.b + misses) - psi_b + shared);
    slope.aa += w * (Trigamma(beta.a + hits) - tri_a + bend);
    slope.bb += w * (Trigamma(beta.b + misses) - tri_b + bend);
    slope.ab += w * bend;
  }
  return slope;
}

double LogLikelihood(std::span<const RateGroup> groups, const Beta& beta) {
  double sum = 0;
  for (const RateGroup& group : groups) {
    sum += group.weight * LogEvidence(beta, group.hits, Misses(group));
  }
  return sum;
}

// Newton's step in (log a, log b); uphill where the likelihood is not concave.
std::pair<double, double> StepFrom(const Slope& slope, const Beta& beta) {
  const double ga = beta.a * slope.a, gb = beta.b * slope.b;
  const double haa = beta.a * beta.a * slope.aa + ga, hbb = beta.b * beta.b * slope.bb + gb;
  const double hab = beta.a * beta.b * slope.ab;
  const double det = haa * hbb - hab * hab;
  if (haa < 0 && det > 0) return {(hab * gb - hbb * ga) / det, (hab * ga - haa * gb) / det};
  const double scale = std::max({1e-300, std::fabs(ga), std::fabs(gb)});
  return {ga / scale, gb / scale};
}

// Newton's method uphill from `beta`; none when it leaves the range of strengths or finds no top.
std::optional<Beta> Climb(std::span<const RateGroup> groups, Beta beta) {
  double height = LogLikelihood(groups, beta);
  for (int round = 0; round < kMostSteps && beta.a + beta.b <= kMostStrength; ++round) {
    const auto step = StepFrom(SlopeAt(groups, beta), beta);
    const double length = std::max(std::fabs(step.first), std::fabs(step.second));
    double part = std::min(1.0, kLongestStep / length);
    const auto next = [&] {
      return Beta{beta.a * std::exp(part * step.first), beta.b * std::exp(part * step.second)};
    };
    // Nearer than this to the top the slope tells more than the height, which is rounded.
    while (part * length > kRoundedHeight && LogLikelihood(groups, next()) < height) part /= 2;
    beta = next();
    height = LogLikelihood(groups, beta);
    if (length < kNewtonStep) return beta;
  }
  return std::nullopt;
}

}  // namespace

double LogLikelihood(std::span<const RateGroup> groups, double strength) {
  assert(strength > 0);
  double sum = 0;
  for (const RateGroup& group : groups) {
    const double own = 1 / (1 / strength + group.spread);
    const Beta prior{group.mean * own, (1 - group.mean) * own};
    sum += group.weight * LogEvidence(prior, group.hits, Misses(group));
  }
  return sum;
}

StrengthEstimate FitStrength(std::span<const RateGroup> groups) {
  const Curve curve(groups);
  const auto higher = [](const Point& x, const Point& y) {
    return x.log_likelihood < y.log_likelihood;
  };
  std::vector<Point> points;
  for (int i = 0; i < kGrid; ++i) {
    points.push_back(curve.At(curve.low() + (curve.high() - curve.low()) * i / (kGrid - 1)));
  }
  const Point end = points.back();
  const auto best = std::max_element(points.begin(), points.end(), higher) - points.begin();
  // Where strengths are as likely, neither rounding nor the curve must choose among them.
  const double top = points[static_cast<size_t>(best)].log_likelihood;
  const double same = std::max(kFlat * std::max(1.0, std::fabs(top)), curve.last_terms());
  const double bottom = std::min_element(points.begin(), points.end(), higher)->log_likelihood;
  if (top - bottom > same) {
    Refine(curve, points[static_cast<size_t>(std::max<ptrdiff_t>(best - 1, 0))].log_strength,
           points[static_cast<size_t>(std::min<ptrdiff_t>(best + 1, kGrid - 1))].log_strength,
           points);
  }
  const Point peak = *std::max_element(points.begin(), points.end(), higher);
  std::sort(points.begin(), points.end(),
            [](const Point& x, const Point& y) { return x.log_strength < y.log_strength; });
  StrengthEstimate fit;
  fit.no_difference = end.log_likelihood >= peak.log_likelihood - same;
  fit.likeliest = fit.no_difference ? kMostStrength : std::exp(peak.log_strength);
  fit.expected = 1 / MeanShare(points, peak.log_likelihood) - 1;
  return fit;
}

std::optional<MomentFit> FitMoments(std::span<const RateGroup> groups) {
  double orders = 0, hits = 0;
  for (const RateGroup& group : groups) {
    orders += group.orders;
    hits += group.hits;
  }
  if (!(orders > 0 && hits > 0 && hits < orders)) return std::nullopt;
  MomentFit fit;
  fit.mean = hits / orders;
  double between = 0, room = 0, chance = 0;
  for (const RateGroup& group : groups) {
    if (!(group.orders > 0)) continue;
    const double off = group.hits / group.orders - fit.mean;
    const double others = 1 - group.orders / orders;
    between += group.orders * off * off;
    room += group.orders * others;
    chance += others;
  }
  const double unit = fit.mean * (1 - fit.mean);
  if (room > chance) {
    fit.gamma = std::clamp((between - unit * chance) / (unit * (room - chance)), 0.0, 1.0);
  }
  fit.strength = 1 / fit.gamma - 1;
  return fit;
}

std::optional<Beta> FitBeta(std::span<const RateGroup> groups) {
  const auto moments = FitMoments(groups);
  if (!moments) return std::nullopt;
  const Beta unit{moments->mean, 1 - moments->mean};
  const auto height = [&](const Beta& beta) { return LogLikelihood(groups, beta); };
  std::optional<Beta> best;
  // There may be more than one top.
  for (const double start : {3.0, std::clamp(moments->strength, 10.0, 100.0), 300.0}) {
    const auto top = Climb(groups, {unit.a * start, unit.b * start});
    if (top && (!best || height(*top) > height(*best))) best = top;
  }
  const Beta end{unit.a * kMostStrength, unit.b * kMostStrength};
  return best && height(*best) > height(end) + kFlat ? best : std::nullopt;
}

}  // namespace plumblane
