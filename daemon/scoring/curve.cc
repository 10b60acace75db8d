#include "scoring/curve.h"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>

namespace plumblane {
namespace {

// A share that is reached up to rounding is reached.
double Least(double q) { return q * (1 - 1e-12); }
bool Reaches(double survival, double q) { return 1 - survival >= Least(q); }

// Whether the lower limit of S (sign 1) or the upper one (-1) is down to 1 - q, with `least` =
// -log(1 - q): whether -log S e^x is as much. (1 + x/8)^8 <= e^x <= (1 - x/8)^-8 settles nearly all
// steps without the exponential.
bool LimitReaches(const CurveStep& step, int sign, double least) {
  if (!step.HasLimits()) return false;
  const double hazard = -std::log(step.survival);
  const double x = sign * kNormalLimit * step.spread / hazard;
  const auto to_the_eighth = [](double value) {
    const double fourth = value * value * value * value;
    return fourth * fourth;
  };
  if (x > -8 && hazard * to_the_eighth(1 + x / 8) >= least) return true;
  if (x < 8 && hazard < least * to_the_eighth(1 - x / 8)) return false;
  return hazard * std::exp(x) >= least;
}

}  // namespace

std::optional<Interval> CurveStep::Limits() const {
  if (!HasLimits()) return std::nullopt;
  const double log_survival = std::log(survival);
  const double factor = std::exp(kNormalLimit * spread / -log_survival);
  return Interval{std::exp(log_survival * factor), std::exp(log_survival / factor)};
}

std::optional<Beta> CurveStep::Share() const {
  if (!(survival > 0 && survival < 1 && spread > 0)) return std::nullopt;
  const double worth = (1 - survival) / (survival * spread * spread);
  return Beta{worth * (1 - survival), worth * survival};
}

double Curve::SurvivalAfter(uint32_t bucket) const {
  const auto next = std::partition_point(
      steps.begin(), steps.end(), [&](const CurveStep& step) { return step.bucket <= bucket; });
  return next == steps.begin() ? 1 : std::prev(next)->survival;
}

std::optional<Beta> Curve::ShareBy(uint32_t bucket) const {
  const auto next = std::partition_point(
      steps.begin(), steps.end(), [&](const CurveStep& step) { return step.bucket <= bucket; });
  if (next == steps.begin()) return std::nullopt;
  return std::prev(next)->Share();
}

double Curve::AreaBetween(double from, double to, double (*time_of)(uint32_t)) const {
  assert(from <= to);
  double area = 0, survival = 1, at = from;
  for (const CurveStep& step : steps) {
    const double next = std::clamp(time_of(step.bucket), from, to);
    area += survival * (next - at);
    survival = step.survival;
    at = next;
  }
  return area + survival * (to - at);
}

std::optional<BucketQuantile> Curve::QuantileAt(double q) const {
  assert(q > 0 && q < 1);
  const auto found = std::partition_point(steps.begin(), steps.end(), [&](const CurveStep& step) {
    return !Reaches(step.survival, q);
  });
  if (found == steps.end()) return std::nullopt;
  BucketQuantile quantile{found->bucket, {}, {}, found->at_risk};
  // The limits lie on either side of S, so one is reached no later, the other no earlier.
  const double least = -std::log1p(-Least(q));
  const auto low = std::find_if(steps.begin(), std::next(found), [&](const CurveStep& step) {
    return LimitReaches(step, 1, least);
  });
  if (low <= found) quantile.low = low->bucket;
  const auto high = std::find_if(
      found, steps.end(), [&](const CurveStep& step) { return LimitReaches(step, -1, least); });
  if (high != steps.end()) quantile.high = high->bucket;
  return quantile;
}

template <typename OneRoom, typename Visit>
void RiskSet::VisitUsed(OneRoom& room, const Visit& visit) {
  for (size_t word = 0; word < room.used.size(); ++word) {
    for (uint64_t bits = room.used[word]; bits != 0; bits &= bits - 1) {
      const size_t bucket = 64 * word + static_cast<size_t>(std::countr_zero(bits));
      visit(bucket, room.leavers[bucket]);
    }
  }
}

template <typename OneRoom, typename Visit>
void RiskSet::VisitUsedFromLast(OneRoom& room, const Visit& visit) {
  for (size_t word = room.used.size(); word-- > 0;) {
    for (uint64_t bits = room.used[word]; bits != 0;) {
      const auto bit = static_cast<size_t>(63 - std::countl_zero(bits));
      bits ^= uint64_t{1} << bit;
      visit(64 * word + bit, room.leavers[64 * word + bit]);
    }
  }
}

size_t RiskSet::UsedCount() const {
  size_t count = 0;
  for (const uint64_t bits : room_.used) count += static_cast<size_t>(std::popcount(bits));
  return count;
}

std::vector<RiskSet::Room>& RiskSet::Spare() {
  static thread_local std::vector<Room> spare;
  return spare;
}

RiskSet::RiskSet(size_t bucket_count) : bucket_count_(bucket_count) {
  if (!Spare().empty()) {
    room_ = std::move(Spare().back());
    Spare().pop_back();
  }
  if (room_.leavers.size() < bucket_count) {
    room_.leavers.resize(bucket_count);
    room_.used.resize((bucket_count + 63) / 64);
  }
}

RiskSet::~RiskSet() {
  Clear();
  Spare().push_back(std::move(room_));
}

void RiskSet::Clear() {
  VisitUsed(room_, [](size_t, Leavers& out) { out = {}; });
  std::fill(room_.used.begin(), room_.used.end(), 0);
}

void RiskSet::Scale(double factor) {
  assert(factor >= 0);
  const double square = factor * factor;
  VisitUsed(room_, [&](size_t, Leavers& out) {
    out.event *= factor;
    out.event_squares *= square;
    out.censored *= factor;
    out.censored_squares *= square;
  });
}

std::vector<WeightLeft> RiskSet::Left() const {
  std::vector<WeightLeft> left;
  left.reserve(UsedCount());
  VisitUsed(room_, [&](size_t bucket, const Leavers& out) {
    if (!IsEmpty(out)) left.push_back(LeftIn(bucket, out));
  });
  return left;
}

void RiskSet::MoveInto(RiskSet& sum) {
  VisitUsed(room_, [&](size_t bucket, const Leavers& out) {
    if (!IsEmpty(out)) sum.Add(LeftIn(bucket, out));
  });
  Clear();
}

Curve RiskSet::Estimate() {
  // Those still at risk after each bucket. Summed from the far end, so that nothing is ever
  // subtracted and whoever is last leaves exactly nobody behind.
  double later = 0, later_squares = 0;
  VisitUsedFromLast(room_, [&](size_t, Leavers& out) {
    out.later = later;
    out.later_squares = later_squares;
    later += out.event + out.censored;
    later_squares += out.event_squares + out.censored_squares;
  });

  // An order that has left in bucket k has U = hazard(k), or hazard(k - 1) - 1/Y(k) if by its
  // outcome; one still at risk has U = hazard(now).
  Curve curve;
  curve.steps.reserve(UsedCount());
  double survival = 1, hazard = 0, gone = 0;
  VisitUsed(room_, [&](size_t bucket, const Leavers& out) {
    if (!(out.event > 0)) {
      gone += out.censored_squares * hazard * hazard;
      return;
    }
    const double survivors = out.later + out.censored;
    const double at_risk = survivors + out.event;
    const double squares = out.later_squares + (out.event_squares + out.censored_squares);
    const double effective = at_risk * at_risk / squares;
    if (!(survivors > 0)) {
      curve.steps.push_back({static_cast<uint32_t>(bucket), 0, 0, effective});
      return;  // nobody is left: this is the last
    }
    survival *= survivors / at_risk;
    const double event_term = hazard - 1 / at_risk;
    hazard += out.event / (at_risk * survivors);
    gone += out.event_squares * event_term * event_term + out.censored_squares * hazard * hazard;
    const double variance = gone + hazard * hazard * out.later_squares;
    curve.steps.push_back(
        {static_cast<uint32_t>(bucket), survival, std::sqrt(variance), effective});
  });
  return curve;
}

}  // namespace plumblane
