#include "engine/agreement_protos.h"

namespace plumblane {
namespace {

namespace pb = ::plumblane::store::v1;

// What proto says with `has_x` and `x`, as an optional.
template <typename To, typename From>
std::optional<To> Maybe(bool has, const From& value) {
  return has ? std::optional<To>(To{value}) : std::nullopt;
}

void ToProto(const PromisedDays& promise, pb::PromisedDaysRecord& out) {
  out.set_processing_days(promise.processing_days);
  out.set_shipping_days(promise.shipping_days);
  out.set_working_days(promise.working_days);
}

PromisedDays FromProto(const pb::PromisedDaysRecord& in) {
  return {in.processing_days(), in.shipping_days(), in.working_days()};
}

void ToProto(const Quote& quote, pb::QuoteRow& out) {
  out.set_supplier(quote.key.supplier);
  out.set_item(quote.key.item);
  out.set_origin(quote.key.lane.origin);
  out.set_destination(quote.key.lane.destination);
  out.set_service(quote.key.lane.service);
  out.set_minimum_units(quote.key.minimum_units);
  out.set_currency(quote.price.currency);
  out.set_price(quote.price.minor_units);
  out.set_freight(quote.freight);
  out.set_duty(quote.duty);
  if (quote.promise) ToProto(*quote.promise, *out.mutable_promise());
  out.set_valid_from(quote.valid_from.number);
  if (quote.valid_until) out.set_valid_until(quote.valid_until->number);
}

Quote FromProto(const pb::QuoteRow& in) {
  Quote quote;
  quote.key = {
      in.supplier(), in.item(), {in.origin(), in.destination(), in.service()}, in.minimum_units()};
  quote.price = {in.price(), in.currency()};
  quote.freight = in.freight();
  quote.duty = in.duty();
  if (in.has_promise()) quote.promise = FromProto(in.promise());
  quote.valid_from = {in.valid_from()};
  quote.valid_until = Maybe<Day>(in.has_valid_until(), in.valid_until());
  return quote;
}

void ToProto(const Terms& terms, pb::TermsRow& out) {
  out.set_supplier(terms.supplier);
  if (terms.monthly_order_limit) out.set_monthly_order_limit(*terms.monthly_order_limit);
  out.set_month_start_day(terms.month_start_day);
  if (terms.next_step_cost) {
    out.mutable_next_step_cost()->set_minor_units(terms.next_step_cost->minor_units);
    out.mutable_next_step_cost()->set_currency(terms.next_step_cost->currency);
  }
  if (terms.claim_days) out.set_claim_days(*terms.claim_days);
  if (terms.promise) ToProto(*terms.promise, *out.mutable_promise());
  out.set_origin(terms.origin);
  out.set_service(terms.service);
  for (const DayRange& closure : terms.closures) {
    pb::DayRangeRecord& range = *out.add_closures();
    range.set_first(closure.first.number);
    range.set_last(closure.last.number);
  }
  const Targets& targets = terms.targets;
  if (targets.on_time) out.set_on_time_target(*targets.on_time);
  if (targets.defect) out.set_defect_target(*targets.defect);
  if (targets.delivery_days) out.set_delivery_days_target(*targets.delivery_days);
  if (targets.response_days) out.set_response_days_target(*targets.response_days);
  for (const std::string& tag : terms.tags) out.add_tags(tag);
}

Terms FromProto(const pb::TermsRow& in) {
  Terms terms;
  terms.supplier = in.supplier();
  terms.monthly_order_limit =
      Maybe<int64_t>(in.has_monthly_order_limit(), in.monthly_order_limit());
  terms.month_start_day = in.month_start_day();
  if (in.has_next_step_cost()) {
    terms.next_step_cost = {in.next_step_cost().minor_units(), in.next_step_cost().currency()};
  }
  terms.claim_days = Maybe<int>(in.has_claim_days(), in.claim_days());
  if (in.has_promise()) terms.promise = FromProto(in.promise());
  terms.origin = in.origin();
  terms.service = in.service();
  for (const auto& range : in.closures())
    terms.closures.push_back({{range.first()}, {range.last()}});
  terms.targets = {Maybe<double>(in.has_on_time_target(), in.on_time_target()),
                   Maybe<double>(in.has_defect_target(), in.defect_target()),
                   Maybe<double>(in.has_delivery_days_target(), in.delivery_days_target()),
                   Maybe<double>(in.has_response_days_target(), in.response_days_target())};
  terms.tags.assign(in.tags().begin(), in.tags().end());
  return terms;
}

void ToProto(const Pause& pause, pb::PauseRecord& out) {
  out.set_supplier(pause.supplier);
  out.set_paused(pause.paused);
  if (pause.until) out.set_until(pause.until->number);
  out.set_reason(pause.reason);
}

Pause FromProto(const pb::PauseRecord& in) {
  return {in.supplier(), in.paused(), Maybe<Day>(in.has_until(), in.until()), in.reason()};
}

void ToProto(const ExchangeRate& rate, pb::RateRow& out) {
  out.set_from(rate.from);
  out.set_to(rate.to);
  out.set_units(rate.units);
  out.set_decimals(rate.decimals);
  out.set_date(rate.date.number);
}

ExchangeRate FromProto(const pb::RateRow& in) {
  return {in.from(), in.to(), in.units(), in.decimals(), {in.date()}};
}

void ToProto(const Item& item, pb::ItemRow& out) {
  out.set_item(item.item);
  out.set_item_class(item.item_class);
  out.set_supplier(item.supplier);
  out.set_supplier_item(item.supplier_item);
}

Item FromProto(const pb::ItemRow& in) {
  return {in.item(), in.item_class(), in.supplier(), in.supplier_item()};
}

void ToProto(const CostSettings& costs, pb::CostsRecord& out) {
  out.set_currency(costs.currency);
  for (const CostClass& one : costs.classes) {
    pb::CostClassRecord& to = *out.add_classes();
    to.set_shop(one.shop);
    to.set_item_class(one.item_class);
    if (one.sale) to.set_sale(*one.sale);
    to.set_late_order(one.late_order);
    to.set_day_late(one.day_late);
    to.set_day_waiting(one.day_waiting);
    to.set_unanswered_day(one.unanswered_day);
    for (const DefectCost& defect : one.defects) {
      pb::DefectCostRecord& cost = *to.add_defects();
      cost.set_refund_share(defect.refund_share);
      cost.set_reship(defect.reship);
    }
  }
  out.set_trials_on(costs.trials.on);
  out.set_trials_most_share(costs.trials.most_share);
  if (costs.trials.most_cost) out.set_trials_most_cost(*costs.trials.most_cost);
}

CostSettings FromProto(const pb::CostsRecord& in) {
  CostSettings costs;
  costs.currency = in.currency();
  for (const pb::CostClassRecord& one : in.classes()) {
    CostClass& to = costs.classes.emplace_back();
    to.shop = one.shop();
    to.item_class = one.item_class();
    to.sale = Maybe<int64_t>(one.has_sale(), one.sale());
    to.late_order = one.late_order();
    to.day_late = one.day_late();
    to.day_waiting = one.day_waiting();
    to.unanswered_day = one.unanswered_day();
    for (int i = 0; i < std::min(one.defects_size(), static_cast<int>(to.defects.size())); ++i) {
      to.defects[static_cast<size_t>(i)] = {one.defects(i).refund_share(), one.defects(i).reship()};
    }
  }
  costs.trials = {in.trials_on(), in.trials_most_share(),
                  Maybe<int64_t>(in.has_trials_most_cost(), in.trials_most_cost())};
  return costs;
}

void ToProto(const Pair& pair, pb::PairRecord& out) {
  out.set_supplier(pair.supplier);
  out.set_origin(pair.lane.origin);
  out.set_destination(pair.lane.destination);
  out.set_service(pair.lane.service);
}

Pair FromProto(const pb::PairRecord& in) {
  return {in.supplier(), {in.origin(), in.destination(), in.service()}};
}

template <typename Row, typename Rows>
void RowsToProto(const std::vector<Row>& rows, Rows& out) {
  for (const Row& row : rows) ToProto(row, *out.add_rows());
}

template <typename Row, typename Rows>
std::vector<Row> RowsFromProto(const Rows& in) {
  std::vector<Row> rows;
  rows.reserve(static_cast<size_t>(in.rows_size()));
  for (const auto& row : in.rows()) rows.push_back(FromProto(row));
  return rows;
}

}  // namespace

void ToProto(const AgreementLoad& load, pb::AgreementLoad& out) {
  struct Visitor {
    pb::AgreementLoad& out;
    void operator()(const std::vector<Quote>& rows) const {
      RowsToProto(rows, *out.mutable_quotes());
    }
    void operator()(const std::vector<Terms>& rows) const {
      RowsToProto(rows, *out.mutable_terms());
    }
    void operator()(const Pause& pause) const { ToProto(pause, *out.mutable_pause()); }
    void operator()(const std::vector<ExchangeRate>& rows) const {
      RowsToProto(rows, *out.mutable_rates());
    }
    void operator()(const std::vector<Item>& rows) const {
      RowsToProto(rows, *out.mutable_items());
    }
    void operator()(const CostSettings& costs) const { ToProto(costs, *out.mutable_costs()); }
  };
  std::visit(Visitor{out}, load);
}

bool FromProto(const pb::AgreementLoad& in, AgreementLoad& load) {
  switch (in.kind_case()) {
    case pb::AgreementLoad::kQuotes:
      load = RowsFromProto<Quote>(in.quotes());
      return true;
    case pb::AgreementLoad::kTerms:
      load = RowsFromProto<Terms>(in.terms());
      return true;
    case pb::AgreementLoad::kPause:
      load = FromProto(in.pause());
      return true;
    case pb::AgreementLoad::kRates:
      load = RowsFromProto<ExchangeRate>(in.rates());
      return true;
    case pb::AgreementLoad::kItems:
      load = RowsFromProto<Item>(in.items());
      return true;
    case pb::AgreementLoad::kCosts:
      load = FromProto(in.costs());
      return true;
    case pb::AgreementLoad::KIND_NOT_SET:
      break;
  }
  return false;
}

void ToProto(const Assignment& assignment, pb::AssignmentRecord& out) {
  out.set_shop(assignment.order.shop);
  out.set_order_id(assignment.order.order_id);
  out.set_part(assignment.part);
  out.set_time_millis(assignment.time.millis);
  ToProto(assignment.pick, *out.mutable_pick());
  out.set_destination(assignment.destination);
  out.set_item(assignment.item);
  out.set_supplier_item(assignment.supplier_item);
  out.set_units(assignment.units);
  out.set_currency(assignment.currency);
  out.set_mode(static_cast<int>(assignment.mode));
  out.set_trial(assignment.trial);
  if (assignment.dearer) out.set_dearer(*assignment.dearer);
  if (assignment.expected_saving) out.set_expected_saving(*assignment.expected_saving);
  out.set_reason(assignment.reason);
  out.set_instead_of(assignment.instead_of);
  for (const AssignmentCandidate& candidate : assignment.candidates) {
    pb::AssignmentCandidateRecord& to = *out.add_candidates();
    ToProto(candidate.pair, *to.mutable_pair());
    if (candidate.landed) to.set_landed(*candidate.landed);
    if (candidate.expected_cost) to.set_expected_cost(*candidate.expected_cost);
    if (candidate.expected_bad) to.set_expected_bad(*candidate.expected_bad);
    to.set_share(candidate.share);
    to.set_excluded(candidate.excluded);
  }
}

bool FromProto(const pb::AssignmentRecord& in, Assignment& assignment) {
  assignment.order = {in.shop(), in.order_id()};
  assignment.part = in.part();
  assignment.time = {in.time_millis()};
  assignment.pick = FromProto(in.pick());
  assignment.destination = in.destination();
  assignment.item = in.item();
  assignment.supplier_item = in.supplier_item();
  assignment.units = in.units();
  assignment.currency = in.currency();
  assignment.mode = static_cast<AssignMode>(in.mode());
  assignment.trial = in.trial();
  assignment.dearer = Maybe<double>(in.has_dearer(), in.dearer());
  assignment.expected_saving = Maybe<double>(in.has_expected_saving(), in.expected_saving());
  assignment.reason = in.reason();
  assignment.instead_of = in.instead_of();
  for (const pb::AssignmentCandidateRecord& from : in.candidates()) {
    assignment.candidates.push_back({FromProto(from.pair()),
                                     Maybe<int64_t>(from.has_landed(), from.landed()),
                                     Maybe<double>(from.has_expected_cost(), from.expected_cost()),
                                     Maybe<double>(from.has_expected_bad(), from.expected_bad()),
                                     from.share(), from.excluded()});
  }
  return in.mode() >= static_cast<int>(AssignMode::kLowestCost) &&
         in.mode() <= static_cast<int>(AssignMode::kChosen) && in.part() >= 1 &&
         in.part() <= kMaxPart;
}

}  // namespace plumblane
