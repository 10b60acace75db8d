#include "scoring/curve.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace plumblane {
namespace {

// A share that is reached up to rounding is reached.
bool Reaches(double survival, double q) { return 1 - survival >= q * (1 - 1e-12); }

}  // namespace

std::optional<Interval> CurveStep::Limits() const {
  if (survival <= 0 || survival >= 1) return std::nullopt;
  const double log_survival = std::log(survival);
  const double factor = std::exp(kNormalLimit * spread / -log_survival);
  return Interval{std::exp(log_survival * factor), std::exp(log_survival / factor)};
}

double Curve::SurvivalAfter(uint32_t bucket) const {
  const auto next = std::partition_point(
      steps.begin(), steps.end(), [&](const CurveStep& step) { return step.bucket <= bucket; });
  return next == steps.begin() ? 1 : std::prev(next)->survival;
}

std::optional<BucketQuantile> Curve::QuantileAt(double q) const {
  assert(q > 0 && q < 1);
  const auto found = std::partition_point(steps.begin(), steps.end(), [&](const CurveStep& step) {
    return !Reaches(step.survival, q);
  });
  if (found == steps.end()) return std::nullopt;
  BucketQuantile quantile{found->bucket, {}, {}};
  // The limits lie on either side of S, so one is reached no later, the other no earlier.
  for (auto step = steps.begin(); step <= found && !quantile.low; ++step) {
    const auto limits = step->Limits();
    if (limits && Reaches(limits->low, q)) quantile.low = step->bucket;
  }
  for (auto step = found; step < steps.end() && !quantile.high; ++step) {
    const auto limits = step->Limits();
    if (limits && Reaches(limits->high, q)) quantile.high = step->bucket;
  }
  return quantile;
}

void RiskSet::AddEvents(uint32_t bucket, int64_t count, double weight) {
  assert(bucket < leavers_.size() && count >= 0 && weight >= 0);
  leavers_[bucket].event += weight * static_cast<double>(count);
  leavers_[bucket].event_squares += weight * weight * static_cast<double>(count);
}

void RiskSet::AddCensored(uint32_t bucket, int64_t count, double weight) {
  assert(bucket < leavers_.size() && count >= 0 && weight >= 0);
  leavers_[bucket].censored += weight * static_cast<double>(count);
  leavers_[bucket].censored_squares += weight * weight * static_cast<double>(count);
}

Curve RiskSet::Estimate() const {
  // Those still at risk after each bucket. Summed from the far end, so that nothing is ever
  // subtracted and whoever is last leaves exactly nobody behind.
  struct Later {
    double weight = 0, squares = 0;
  };
  std::vector<Later> later(leavers_.size());
  for (size_t i = leavers_.size(); i-- > 1;) {
    const Leavers& out = leavers_[i];
    later[i - 1].weight = later[i].weight + (out.event + out.censored);
    later[i - 1].squares = later[i].squares + (out.event_squares + out.censored_squares);
  }

  // An order that has left in bucket k has U = hazard(k), or hazard(k - 1) - 1/Y(k) if by its
  // outcome; one still at risk has U = hazard(now).
  Curve curve;
  double survival = 1, hazard = 0, gone = 0;
  for (size_t i = 0; i < leavers_.size(); ++i) {
    const Leavers& out = leavers_[i];
    if (out.event > 0) {
      const double survivors = later[i].weight + out.censored;
      const double at_risk = survivors + out.event;
      const double event_term = hazard - 1 / at_risk;
      gone += out.event_squares * event_term * event_term;
      survival *= survivors / at_risk;
      if (survivors > 0) hazard += out.event / (at_risk * survivors);
    }
    gone += out.censored_squares * hazard * hazard;
    if (out.event > 0) {
      const double variance = gone + hazard * hazard * later[i].squares;
      const double spread = survival > 0 ? std::sqrt(variance) : 0;
      curve.steps.push_back({static_cast<uint32_t>(i), survival, spread});
    }
  }
  return curve;
}

}  // namespace plumblane
