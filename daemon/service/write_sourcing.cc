#include <absl/strings/str_cat.h>

#include "agreements/costs.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

void WriteCost(const PricedCandidate& priced, v1::ExpectedCost* out) {
  const CostBelief& belief = priced.cost.belief;
  const CostParts& parts = priced.cost.parts;
  out->set_expected(belief.Expected());
  out->set_standard_deviation(belief.StandardDeviation());
  out->set_low(priced.quantiles.low);
  out->set_median(priced.quantiles.median);
  out->set_high(priced.quantiles.high);
  out->set_cheapest_chance(priced.cheapest_chance);
  out->set_landed(priced.landed);
  WriteMoney(priced.quoted, out->mutable_quoted());
  out->set_exchange_rate(priced.exchange_rate);
  out->set_late_cost(parts.late);
  out->set_days_late_cost(parts.days_late);
  out->set_waiting_cost(parts.waiting);
  out->set_defect_cost(parts.defect);
  out->set_lost_cost(parts.lost);
  out->set_unanswered_cost(parts.unanswered);
  out->set_late_share(parts.late_share);
  out->set_late_days(parts.late_days);
  out->set_waiting_days(parts.waiting_days);
  for (const Code kind : kDefectKinds) {
    (*out->mutable_defect_shares())[std::string(NameOfKind(kind))] =
        parts.kind_shares[IndexOfKind(kind)];
  }
  out->set_dispute_share(parts.dispute_share);
  out->set_response_days(parts.answer_days);
  if (priced.promised_days) out->set_promised_days(*priced.promised_days);
  out->set_late_by_arrivals(parts.late_by_arrivals);
  out->set_times_assumed(parts.times_assumed);
}

void WriteCandidate(const Basis& basis, const SourcingCandidate& one, v1::Candidate* out) {
  const Ranked& ranked = one.ranked;
  if (one.score) WritePairScore(basis, one.pair, *one.score, out->mutable_score());
  if (ranked.expected_bad) out->set_expected_bad(*ranked.expected_bad);
  if (ranked.low) out->set_low(*ranked.low);
  if (ranked.high) out->set_high(*ranked.high);
  out->set_assumed(ranked.assumed);
  out->set_close_to_first(ranked.close_to_first);
  out->set_reason(ranked.reason);
  if (one.priced) WriteCost(*one.priced, out->mutable_cost());
  out->set_share(one.share);
  if (one.remaining) out->set_remaining_capacity(*one.remaining);
  out->set_supplier_item(one.supplier_item);
  for (const std::string& note : one.notes) out->add_notes(note);
  if (one.closed_until) out->set_closed_until_date(FormatDay(*one.closed_until));
}

v1::Assignment::Mode ModeOf(AssignMode mode) {
  switch (mode) {
    case AssignMode::kLowestCost:
      return v1::Assignment::MODE_LOWEST_COST;
    case AssignMode::kShared:
      return v1::Assignment::MODE_SHARED;
    case AssignMode::kChosen:
      return v1::Assignment::MODE_CHOSEN;
  }
  return v1::Assignment::MODE_UNSPECIFIED;
}

v1::Assignment::State StateOf(AssignmentState state) {
  switch (state) {
    case AssignmentState::kOpen:
      return v1::Assignment::STATE_OPEN;
    case AssignmentState::kPaid:
      return v1::Assignment::STATE_PAID;
    case AssignmentState::kPaidElsewhere:
      return v1::Assignment::STATE_PAID_ELSEWHERE;
  }
  return v1::Assignment::STATE_UNSPECIFIED;
}

}  // namespace

void WriteLane(const Lane& lane, v1::Lane* out) {
  out->set_origin(lane.origin);
  out->set_destination(lane.destination);
  out->set_service(lane.service);
}

void WriteExcluded(const ExcludedPair& excluded, v1::ExcludedCandidate* out) {
  out->set_supplier(excluded.pair.supplier);
  WriteLane(excluded.pair.lane, out->mutable_lane());
  out->set_reason(excluded.reason);
}

void WriteSourcing(const WithBasis<SourcingAnswer>& asked, size_t told,
                   v1::RankSuppliersResponse* out) {
  const SourcingAnswer& answer = asked.answer;
  WriteTime(asked.basis.as_of, out->mutable_as_of_time());
  WriteDuration(asked.basis.half_life_days * 86400, out->mutable_half_life());
  if (asked.basis.news) WriteTime(*asked.basis.news, out->mutable_news_time());
  out->set_candidate_count(static_cast<int32_t>(answer.candidates.size()));
  for (size_t i = 0; i < std::min(told, answer.candidates.size()); ++i) {
    v1::Candidate* to = out->add_candidates();
    to->set_rank(static_cast<int32_t>(i) + 1);
    WriteCandidate(asked.basis, answer.candidates[i], to);
  }
  out->set_order(answer.by_cost ? v1::RankSuppliersResponse::ORDER_EXPECTED_COST
                                : v1::RankSuppliersResponse::ORDER_LATE_OR_BAD_SHARE);
  out->set_order_reason(answer.order_reason);
  for (const ExcludedPair& excluded : answer.excluded) {
    WriteExcluded(excluded, out->add_excluded());
  }
  out->set_currency_code(answer.currency);
  out->set_trials_on(answer.trials_on);
  if (!answer.by_cost) return;
  v1::CostBasis* costs = out->mutable_cost_basis();
  costs->set_shop(answer.costs.shop);
  costs->set_item_class(answer.costs.item_class);
  costs->set_late_order(answer.costs.late_order);
  costs->set_day_late(answer.costs.day_late);
  costs->set_day_waiting(answer.costs.day_waiting);
  costs->set_unanswered_day(answer.costs.unanswered_day);
  if (answer.sale) costs->set_sale(*answer.sale);
}

void WriteRisk(const View& view, const RiskAnswer& answer, const std::string& supplier, int days,
               v1::Risk* out) {
  WriteTime(view.now(), out->mutable_as_of_time());
  out->set_days(days);
  if (answer.order_concentration) out->set_order_concentration(*answer.order_concentration);
  if (answer.money_concentration) out->set_money_concentration(*answer.money_concentration);
  out->set_currency_code(answer.currency);
  out->set_money_problem(answer.money_problem);
  for (const SupplierRisk& one : answer.suppliers) {
    if (!supplier.empty() && one.supplier != supplier) continue;
    v1::SupplierRisk* to = out->add_suppliers();
    to->set_supplier_id(one.supplier);
    to->set_underway_count(one.underway_count);
    for (const auto& [currency, sum] : one.exposure) {
      WriteMoney({sum, currency}, to->add_exposures());
    }
    to->set_order_count(one.order_count);
    for (const auto& [currency, sum] : one.paid) WriteMoney({sum, currency}, to->add_paid());
    to->set_order_share(one.order_share);
    if (one.money_share) to->set_money_share(*one.money_share);
    if (one.last_event) WriteTime(*one.last_event, to->mutable_last_event_time());
    for (const auto& [currency, charges] : one.charges) {
      v1::Charges* out_charges = to->add_charges();
      out_charges->set_currency_code(currency);
      out_charges->set_order_count(charges.order_count);
      out_charges->set_charged(charges.charged);
      out_charges->set_quoted(charges.quoted);
    }
    if (one.silent_days) to->set_silent_days(*one.silent_days);
  }
}

void WriteAssignment(const StoredAssignment& stored, bool with_candidates, v1::Assignment* out) {
  const Assignment& made = stored.assignment;
  out->set_state(StateOf(stored.state));
  out->set_shop(made.order.shop);
  out->set_order_id(made.order.order_id);
  out->set_part(made.part);
  WriteTime(made.time, out->mutable_assign_time());
  out->set_supplier(made.pick.supplier);
  WriteLane(made.pick.lane, out->mutable_lane());
  out->set_item(made.item);
  out->set_supplier_item(made.supplier_item);
  out->set_unit_count(made.units);
  out->set_mode(ModeOf(made.mode));
  out->set_trial(made.trial);
  out->set_reason(made.reason);
  out->set_instead_of(made.instead_of);
  out->set_currency_code(made.currency);
  if (made.dearer) out->set_dearer(*made.dearer);
  if (made.expected_saving) out->set_expected_saving(*made.expected_saving);
  if (!with_candidates) return;
  for (const AssignmentCandidate& one : made.candidates) {
    v1::AssignmentCandidate* to = out->add_candidates();
    to->set_supplier(one.pair.supplier);
    WriteLane(one.pair.lane, to->mutable_lane());
    if (one.landed) to->set_landed(*one.landed);
    if (one.expected_cost) to->set_expected_cost(*one.expected_cost);
    if (one.expected_bad) to->set_expected_bad(*one.expected_bad);
    to->set_share(one.share);
    to->set_excluded(one.excluded);
  }
}

}  // namespace plumblane
