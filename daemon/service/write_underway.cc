#include "service/write_answer.h"

namespace plumblane {
namespace {

v1::UnderwayOrder::State StateOf(UnderwayState state) {
  switch (state) {
    case UnderwayState::kOnTime:
      return v1::UnderwayOrder::STATE_ON_TIME;
    case UnderwayState::kLikelyLate:
      return v1::UnderwayOrder::STATE_LIKELY_LATE;
    case UnderwayState::kOverdue:
      return v1::UnderwayOrder::STATE_OVERDUE;
    case UnderwayState::kNoPromise:
      return v1::UnderwayOrder::STATE_NO_PROMISE;
  }
  return v1::UnderwayOrder::STATE_UNSPECIFIED;
}

v1::Claim::State StateOf(ClaimState state) {
  switch (state) {
    case ClaimState::kToFile:
      return v1::Claim::STATE_TO_FILE;
    case ClaimState::kUnanswered:
      return v1::Claim::STATE_UNANSWERED;
    case ClaimState::kOwed:
      return v1::Claim::STATE_OWED;
    case ClaimState::kSettled:
      return v1::Claim::STATE_SETTLED;
  }
  return v1::Claim::STATE_UNSPECIFIED;
}

void WriteUnderwayOrder(const UnderwayOrder& one, const std::string& currency,
                        v1::UnderwayOrder* out) {
  out->set_shop(one.place.order.shop);
  out->set_order_id(one.place.order.order_id);
  out->set_part(one.place.part);
  out->set_supplier_id(one.pair.supplier);
  WriteLane(one.pair.lane, out->mutable_lane());
  out->set_item(one.item);
  out->set_tracking(one.tracking);
  WriteTime(one.paid, out->mutable_pay_time());
  if (one.shipped) WriteTime(*one.shipped, out->mutable_ship_time());
  if (one.promise) WriteTime(*one.promise, out->mutable_promise_time());
  out->set_age_days(one.age_days);
  out->set_state(StateOf(one.state));
  if (one.late_chance) out->set_late_chance(*one.late_chance);
  if (one.usual_handling_days) out->set_usual_handling_days(*one.usual_handling_days);
  if (one.cost) WriteMoney(*one.cost, out->mutable_cost());
  if (one.chase_value) {
    out->set_chase_value(*one.chase_value);
    out->set_chase_currency(currency);
  }
  out->set_reason(one.reason);
}

void WriteClaim(const ClaimToAct& one, v1::Claim* out) {
  out->set_shop(one.place.order.shop);
  out->set_order_id(one.place.order.order_id);
  out->set_part(one.place.part);
  out->set_supplier_id(one.pair.supplier);
  WriteLane(one.pair.lane, out->mutable_lane());
  out->set_reason(static_cast<v1::Reason>(one.reason));
  out->set_state(StateOf(one.state));
  if (one.disputed) WriteTime(*one.disputed, out->mutable_dispute_time());
  if (one.waiting_days) out->set_waiting_days(*one.waiting_days);
  if (one.claimed) WriteMoney(*one.claimed, out->mutable_claimed());
  if (one.refunded) WriteMoney(*one.refunded, out->mutable_refunded());
  if (one.owed) WriteMoney(*one.owed, out->mutable_owed());
  if (one.last_day) out->set_last_date(FormatDay(*one.last_day));
  if (one.days_left) out->set_days_left(*one.days_left);
}

}  // namespace

void WriteUnderway(const UnderwayAnswer& answer, v1::ListUnderwayResponse* out) {
  WriteTime(answer.as_of, out->mutable_as_of_time());
  if (answer.news) WriteTime(*answer.news, out->mutable_news_time());
  for (const UnderwayOrder& one : answer.orders) {
    WriteUnderwayOrder(one, answer.currency, out->add_orders());
  }
  for (const auto& [pair, tally] : answer.counts) {
    v1::UnderwayCount* to = out->add_counts();
    to->set_supplier_id(pair.supplier);
    WriteLane(pair.lane, to->mutable_lane());
    to->set_order_count(tally.orders);
    to->set_overdue_count(tally.overdue);
    to->set_likely_late_count(tally.likely_late);
    to->set_unshipped_late_count(tally.slow_to_leave);
  }
}

void WriteClaims(const ClaimsAnswer& answer, v1::ListClaimsResponse* out) {
  WriteTime(answer.as_of, out->mutable_as_of_time());
  for (const ClaimToAct& one : answer.claims) WriteClaim(one, out->add_claims());
}

}  // namespace plumblane
