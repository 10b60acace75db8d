#include <algorithm>

#include "service/write_answer.h"

namespace plumblane {
namespace {

Interval LimitsOf(int64_t count, int64_t orders) {
  return WilsonLimits(static_cast<double>(count), static_cast<double>(orders));
}

// The share of hits, or of the others.
void WriteShare(const HitCount& count, bool of_hits, v1::CountedShare* out) {
  out->set_order_count(count.orders);
  out->set_hit_count(count.hits);
  out->set_too_thin(count.orders < kFewestToJudge);
  if (count.orders == 0) return;
  const int64_t part = of_hits ? count.hits : count.orders - count.hits;
  const Interval limits = LimitsOf(part, count.orders);
  out->set_observed(static_cast<double>(part) / static_cast<double>(count.orders));
  out->set_low(limits.low);
  out->set_high(limits.high);
}

void WritePeriod(const Period& period, v1::ReviewPeriod* out) {
  out->set_first_date(FormatDay(period.first));
  out->set_last_date(FormatDay(period.last));
}

void WriteLaneQuery(const LaneQuery& lane, v1::Lane* out) {
  out->set_origin(lane.origin);
  out->set_destination(lane.destination);
  if (lane.service) out->set_service(*lane.service);
}

void WriteMoneyFigures(const std::string& currency, const MoneyFigures& money, bool to_share,
                       bool orders_gone, v1::MoneyFigures* out) {
  out->set_currency_code(currency);
  out->set_paid(money.paid);
  out->set_replacements(money.replacements);
  out->set_quoted_order_count(money.quoted_orders);
  out->set_charged(money.charged);
  out->set_quoted(money.quoted);
  out->set_exposure(money.exposure);
  if (orders_gone) return;
  out->set_refunded_by_supplier(money.refunded_by_supplier);
  if (!to_share) out->set_refunded_by_shop(money.refunded_by_shop);
  out->set_claimed(money.claimed);
  out->set_owed(money.owed);
  out->set_owed_order_count(money.owed_orders);
  out->set_overcharged_order_count(money.overcharged_orders);
  out->set_overcharged(money.overcharged);
}

void WriteFigures(const Figures& figures, bool to_share, v1::Figures* out) {
  out->set_order_count(figures.order_count);
  for (const auto& [currency, money] : figures.money) {
    WriteMoneyFigures(currency, money, to_share, figures.orders_gone, out->add_money());
  }
  WriteShare(figures.late, false, out->mutable_on_time());
  if (figures.late_without_excuses) {
    WriteShare(*figures.late_without_excuses, false, out->mutable_on_time_without_excuses());
  }
  if (figures.late_arrived > 0) {
    out->set_mean_days_late(static_cast<double>(figures.days_late) /
                            static_cast<double>(figures.late_arrived));
  }
  out->set_late_arrived_count(figures.late_arrived);
  WriteShare(figures.defect, true, out->mutable_defect());
  for (const Code kind : kDefectKinds) {
    const int64_t count = figures.kinds[IndexOfKind(kind)];
    if (count == 0) continue;
    v1::DefectCount* to = out->add_defect_kinds();
    to->set_kind(ReasonOf(kind));
    to->set_count(count);
  }
  out->set_immature_count(figures.immature());
  if (!figures.orders_gone) out->set_unsettled_count(figures.unsettled);
  WriteTimes(figures.handling, out->mutable_handling());
  WriteTimes(figures.transit, out->mutable_transit());
  WriteTimes(figures.delivery, out->mutable_delivery());
  WriteTimes(figures.response, out->mutable_response());
  if (!figures.orders_gone) out->set_out_of_stock_count(figures.out_of_stock);
  if (figures.order_share) out->set_order_share(*figures.order_share);
  if (figures.money_share) out->set_money_share(*figures.money_share);
  if (figures.order_concentration) out->set_order_concentration(*figures.order_concentration);
  if (figures.money_concentration) out->set_money_concentration(*figures.money_concentration);
}

v1::Change::Verdict VerdictOf(Change::Verdict verdict) {
  static constexpr v1::Change::Verdict kVerdicts[] = {
      v1::Change::VERDICT_WORSE, v1::Change::VERDICT_BETTER,
      v1::Change::VERDICT_NO_MORE_THAN_CHANCE, v1::Change::VERDICT_TOO_THIN};
  return kVerdicts[static_cast<size_t>(verdict)];
}

v1::Change::Against AgainstOf(Change::Against against) {
  return against == Change::Against::kPeriodBefore ? v1::Change::AGAINST_PERIOD_BEFORE
                                                   : v1::Change::AGAINST_YEAR_AGO;
}

void WriteChange(const Change& change, v1::Change* out) {
  out->set_measure(std::string(MeasureName(change.measure)));
  out->set_against(AgainstOf(change.against));
  out->set_order_count(change.now.orders);
  out->set_hit_count(change.now.hits);
  out->set_order_count_then(change.then.orders);
  out->set_hit_count_then(change.then.hits);
  out->set_verdict(VerdictOf(change.verdict));
  if (!change.comparison) return;
  out->set_difference(change.comparison->difference);
  out->set_low(change.comparison->limits.low);
  out->set_high(change.comparison->limits.high);
  out->set_p_value(change.comparison->p_value);
  out->set_adjusted_p_value(change.adjusted_p);
}

void WriteTimesChange(const TimesChange& change, v1::TimesChange* out) {
  static constexpr const char* kMeasures[] = {"handling", "transit", "response", "days_late"};
  out->set_measure(kMeasures[static_cast<size_t>(change.what)]);
  out->set_against(AgainstOf(change.against));
  out->set_order_count(change.now.orders);
  out->set_finished_count(change.now.finished);
  out->set_order_count_then(change.then.orders);
  out->set_finished_count_then(change.then.finished);
  out->set_verdict(VerdictOf(change.verdict));
  if (!change.comparison) return;
  out->set_p_value(change.comparison->p_value);
  out->set_adjusted_p_value(change.adjusted_p);
}

void WritePoint(const Point& point, v1::Point* out) {
  static constexpr v1::Point::Kind kKinds[] = {
      v1::Point::KIND_LATE,         v1::Point::KIND_DEFECT,        v1::Point::KIND_LOST,
      v1::Point::KIND_OVERCHARGED,  v1::Point::KIND_OWED,          v1::Point::KIND_OUT_OF_STOCK,
      v1::Point::KIND_SLOW_ANSWERS, v1::Point::KIND_SLOW_HANDLING, v1::Point::KIND_ITEM};
  out->set_kind(kKinds[static_cast<size_t>(point.kind)]);
  out->set_good(point.good);
  out->set_sentence(point.sentence);
  out->set_hit_count(point.count.hits);
  out->set_order_count(point.count.orders);
  if (point.is_share && point.count.orders > 0) {
    const Interval limits = LimitsOf(point.count.hits, point.count.orders);
    out->set_share(point.count.Share());
    out->set_low(limits.low);
    out->set_high(limits.high);
  }
  if (point.at_stake) WriteMoney(*point.at_stake, out->mutable_at_stake());
  out->set_at_stake_by_costs(point.by_costs);
  out->set_item(point.item);
}

void WriteItem(const SpoilingItem& item, v1::SpoilingItem* out) {
  out->set_item(item.item);
  out->set_measure(std::string(MeasureName(item.measure)));
  out->set_order_count(item.own.orders);
  out->set_hit_count(item.own.hits);
  out->set_other_order_count(item.others.orders);
  out->set_other_hit_count(item.others.hits);
  out->set_difference(item.comparison.difference);
  out->set_low(item.comparison.limits.low);
  out->set_high(item.comparison.limits.high);
  out->set_p_value(item.comparison.p_value);
  out->set_adjusted_p_value(item.adjusted_p);
}

void WriteExcused(const std::string& reason, const ExcusedOrders& excused, v1::ExcusedOrders* out) {
  out->set_reason(reason);
  out->set_order_count(excused.orders);
  out->set_settled_count(excused.settled.orders);
  out->set_late_count(excused.settled.hits);
  out->set_first_due_date(FormatDay(excused.first_due));
  out->set_last_due_date(FormatDay(excused.last_due));
}

void WriteAlertMark(const AlertMark& mark, v1::AlertMark* out) {
  out->set_alert_id(mark.alert_id);
  out->set_measure(std::string(NameOf(mark.measure)));
  out->set_change_date(FormatDay(mark.changed));
  out->set_open_date(FormatDay(mark.opened));
  if (mark.closed) out->set_close_date(FormatDay(*mark.closed));
  if (mark.rate_before) out->set_rate_before(*mark.rate_before);
  if (mark.rate_since) out->set_rate_since(*mark.rate_since);
  if (mark.pooled == 0) return;
  out->mutable_pool()->set_origin(mark.pool_origin);
  out->mutable_pool()->set_destination(mark.pool_destination);
  out->set_pooled_lane_count(static_cast<int64_t>(mark.pooled));
}

void WriteAssigned(const AssignedCount& assigned, v1::Assigned* out) {
  out->set_count(assigned.count);
  out->set_trial_count(assigned.trials);
  out->set_chosen_count(assigned.chosen);
  for (const auto& [currency, saving] : assigned.savings) {
    v1::Assigned::Saving* to = out->add_savings();
    to->set_currency_code(currency);
    to->set_expected_saving(saving.first);
    to->set_assignment_count(saving.second);
  }
}

void WriteCosts(const PeriodCosts& costs, v1::CostParts* out) {
  out->set_late(costs.late);
  out->set_days_late(costs.days_late);
  out->set_defects(costs.defects);
  out->set_lost(costs.lost);
  out->set_unanswered(costs.unanswered);
  out->set_unknown_count(costs.unknown);
}

void WriteCurve(const std::vector<CurvePoint>& points,
                google::protobuf::RepeatedPtrField<v1::CurvePoint>* out) {
  for (const CurvePoint& point : points) {
    v1::CurvePoint* to = out->Add();
    to->set_days(point.days);
    to->set_share(point.share);
  }
}

}  // namespace

void WriteAccount(const Account& account, const ReviewedAccount& rest, bool to_share,
                  v1::Account* out) {
  out->set_supplier_id(account.supplier);
  if (account.lane) WriteLaneQuery(*account.lane, out->mutable_lane());
  WriteFigures(account.period, to_share, out->mutable_period());
  if (account.before) WriteFigures(*account.before, to_share, out->mutable_before());
  if (account.year_ago) WriteFigures(*account.year_ago, to_share, out->mutable_year_ago());
  for (const Change& change : account.changes) WriteChange(change, out->add_changes());
  for (const TimesChange& change : account.times_changes) {
    WriteTimesChange(change, out->add_times_changes());
  }
  for (const Point& point : account.points) WritePoint(point, out->add_points());
  if (account.at_stake.sum) WriteMoney(*account.at_stake.sum, out->mutable_at_stake());
  for (const std::string& currency : account.at_stake.left_out) {
    out->add_at_stake_left_out(currency);
  }
  for (const TargetReading& reading : account.targets) WriteTarget(reading, out->add_targets());
  for (const SpoilingItem& item : account.items) WriteItem(item, out->add_items());
  for (const auto& [reason, excused] : account.excuses) {
    WriteExcused(reason, excused, out->add_excuses());
  }
  for (const AlertMark& mark : rest.alerts) WriteAlertMark(mark, out->add_alerts());
  if (rest.assigned.count > 0) WriteAssigned(rest.assigned, out->mutable_assigned());
  if (account.costs) WriteCosts(*account.costs, out->mutable_cost_parts());
  for (const auto& [monday, count] : account.weeks) {
    if (count.orders == 0) continue;
    v1::Week* week = out->add_weeks();
    week->set_first_date(FormatDay(monday));
    WriteShare(count, false, week->mutable_on_time());
  }
  WriteCurve(account.transit, out->mutable_transit_curve());
  WriteCurve(account.transit_before, out->mutable_transit_curve_before());
}

void WriteReview(const ReviewAsked& asked, const ReviewAnswer& answer, int claim_window_days,
                 v1::Review* out) {
  WritePeriod(answer.periods[0], out->mutable_period());
  WritePeriod(answer.periods[1], out->mutable_period_before());
  WritePeriod(answer.periods[2], out->mutable_year_ago());
  WriteTime(answer.as_of, out->mutable_as_of_time());
  if (answer.news) WriteTime(*answer.news, out->mutable_news_time());
  out->set_provisional(answer.provisional);
  if (answer.kept_from) out->set_orders_kept_from_date(FormatDay(*answer.kept_from));
  out->set_final_date(FormatDay(answer.final_day));
  out->set_claim_window_days(claim_window_days);
  out->set_supplier(asked.supplier);
  if (asked.lane) WriteLaneQuery(*asked.lane, out->mutable_lane());
  out->set_shop(asked.shop);
  out->set_to_share(asked.to_share);
  out->set_comparison_count(static_cast<int32_t>(answer.comparison_count));
  out->set_currency_code(answer.currency);
  out->set_currency_problem(answer.currency_problem);
}

void WriteEvidence(const EvidenceOrder& evidence, v1::EvidenceOrder* out) {
  const PartState& part = evidence.part;
  out->set_shop(evidence.order.shop);
  out->set_order_id(evidence.order.order_id);
  out->set_part(part.part);
  out->set_supplier_id(part.supplier);
  WriteLane(part.lane, out->mutable_lane());
  out->set_item(part.item);
  for (const std::string_view finding : evidence.findings) out->add_findings(std::string(finding));
  if (part.paid) WriteTime(*part.paid, out->mutable_pay_time());
  if (part.shipped) WriteTime(*part.shipped, out->mutable_ship_time());
  if (part.promise) WriteTime(part.promise->time, out->mutable_promise_time());
  if (part.delivered) WriteTime(*part.delivered, out->mutable_deliver_time());
  if (part.disputed) WriteTime(*part.disputed, out->mutable_dispute_time());
  if (part.answered) WriteTime(*part.answered, out->mutable_answer_time());
  if (part.cancelled) WriteTime(*part.cancelled, out->mutable_cancel_time());
  if (evidence.outcome.late) out->set_days_late(evidence.outcome.days_late);
  if (part.cost) WriteMoney(*part.cost, out->mutable_cost());
  if (part.quoted) WriteMoney(*part.quoted, out->mutable_quoted());
  if (part.claim) WriteMoney(*part.claim, out->mutable_claim());
  for (const auto& [currency, sum] : evidence.outcome.refunded) {
    WriteMoney({sum, currency}, out->add_refunds_by_supplier());
  }
  if (evidence.outcome.owed) WriteMoney(*evidence.outcome.owed, out->mutable_owed());
  out->set_excuse(evidence.outcome.excuse);
}

}  // namespace plumblane
