#include "ranking/order_cost.h"

#include <algorithm>
#include <cmath>

#include "scoring/rate.h"

namespace plumblane {
namespace {

constexpr double kStrength = kPooledStrength;
// A promise that differs by more than this from what its orders were promised says something else.
constexpr double kOtherPromise = 0.2;

// A mean over `orders` that leans on what stands behind it.
double Lean(double own, double orders, double behind) {
  return (own * orders + behind * kStrength) / (orders + kStrength);
}

bool Knows(const Mishaps* mishaps) { return mishaps != nullptr && mishaps->orders > 0; }

void Times(const OrderTerms& order, const OrderBelief& belief, double lost, CostParts& parts) {
  // Without a promise the mean is taken over the longest time that is followed at all.
  const int promised = order.promised_days.value_or(kLongestPromise);
  double waiting = promised, late = 0;
  parts.times_assumed = !Knows(belief.pair);
  if (Knows(belief.lane)) {
    waiting = WaitingDays(*belief.lane, promised, lost);
    late = LateDays(*belief.lane, promised, lost);
  }
  if (Knows(belief.pair)) {
    const double own = WaitingDays(*belief.pair, promised, lost);
    const double own_late = LateDays(*belief.pair, promised, lost);
    const double orders = belief.pair->orders;
    waiting = Knows(belief.lane) ? Lean(own, orders, waiting) : own;
    late = Knows(belief.lane) ? Lean(own_late, orders, late) : own_late;
  }
  parts.waiting_days = waiting + order.closed_days;
  parts.late_days = order.promised_days ? late : 0;
}

// Shares of the kinds among defects; they sum up to 1.
std::array<double, 7> KindsOf(const OrderBelief& belief) {
  std::array<double, 7> mix;
  mix.fill(1.0 / 7);
  const Mishaps* own = belief.pair;
  for (const Mishaps* mishaps : {belief.fleet, belief.supplier, own}) {
    if (mishaps == nullptr) continue;
    for (size_t i = 0; i < mix.size(); ++i) {
      mix[i] = (mishaps->kinds[i] + kStrength * mix[i]) / (mishaps->defects + kStrength);
    }
  }
  return mix;
}

void Claims(const OrderBelief& belief, CostParts& parts) {
  for (const Mishaps* mishaps : {belief.fleet, belief.supplier}) {
    if (!Knows(mishaps)) continue;
    const double share = std::min(1.0, mishaps->disputes / mishaps->orders);
    const bool first = parts.dispute_share == 0;
    parts.dispute_share = first ? share : Lean(share, mishaps->orders, parts.dispute_share);
    if (mishaps->disputes == 0) continue;
    parts.answer_days = parts.answer_days == 0
                            ? mishaps->answer_days
                            : Lean(mishaps->answer_days, mishaps->disputes, parts.answer_days);
  }
}

// The Beta of the late rate: what was promised before counts only while the promise is the same.
Beta LateOf(const OrderTerms& order, const OrderBelief& belief, CostParts& parts) {
  if (!order.promised_days || !Knows(belief.pair) || belief.pair->promised <= 0) return belief.late;
  const double before = belief.pair->promised_days / belief.pair->promised;
  if (std::abs(*order.promised_days - before) <= kOtherPromise * before) return belief.late;
  const auto by_arrivals = LateByArrivals(*belief.pair, *order.promised_days);
  parts.late_by_arrivals = by_arrivals.has_value();
  return by_arrivals.value_or(belief.late);
}

}  // namespace

OrderCost CostOf(const OrderTerms& order, const OrderBelief& belief, const CostClass& costs) {
  OrderCost cost;
  CostParts& parts = cost.parts;
  const Beta late = LateOf(order, belief, parts);
  const std::array<double, 7> mix = KindsOf(belief);
  const size_t lost_kind = IndexOfKind(Code::kLost);
  const double lost = belief.bad.Mean() * mix[lost_kind];

  Times(order, belief, lost, parts);
  Claims(belief, parts);

  double per_bad = 0;
  for (size_t i = 0; i < mix.size(); ++i) {
    const DefectCost& defect = costs.defects[i];
    const double one =
        defect.refund_share * order.sale.value_or(0) + (defect.reship ? order.landed : 0);
    parts.kind_shares[i] = belief.bad.Mean() * mix[i];
    (i == lost_kind ? parts.lost : parts.defect) += parts.kind_shares[i] * one;
    per_bad += mix[i] * one;
  }
  // Lost orders are late by their rate, too, but are charged once.
  const double late_order = order.promised_days ? static_cast<double>(costs.late_order) : 0;
  const double not_lost = std::max(0.0, 1 - lost / late.Mean());
  parts.late_share = order.promised_days ? not_lost * late.Mean() : 0;
  parts.landed = order.landed;
  parts.late = late_order * parts.late_share;
  parts.days_late = parts.late_days * static_cast<double>(costs.day_late);
  parts.waiting = parts.waiting_days * static_cast<double>(costs.day_waiting);
  parts.unanswered =
      parts.dispute_share * parts.answer_days * static_cast<double>(costs.unanswered_day);

  cost.belief = {parts.landed + parts.days_late + parts.waiting + parts.unanswered,
                 late_order * not_lost, per_bad, late, belief.bad};
  return cost;
}

}  // namespace plumblane
