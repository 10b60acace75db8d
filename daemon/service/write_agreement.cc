#include "service/write_agreement.h"

#include <algorithm>

#include "orders/event.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

// Its last day; none when it has no end.
std::optional<Day> LastDayOf(const HeldQuote& held) {
  std::optional<Day> last = held.quote.valid_until;
  if (held.replaced_from && (!last || *held.replaced_from <= *last)) {
    last = *held.replaced_from - 1;
  }
  return last;
}

void WriteQuote(const Quote& quote, v1::Quote* out) {
  out->set_supplier(quote.key.supplier);
  out->set_item(quote.key.item);
  out->set_origin(quote.key.lane.origin);
  out->set_destination(quote.key.lane.destination);
  out->set_service(quote.key.lane.service);
  WriteMoney(quote.price, out->mutable_price());
  if (quote.freight != 0) WriteMoney({quote.freight, quote.price.currency}, out->mutable_freight());
  if (quote.duty != 0) WriteMoney({quote.duty, quote.price.currency}, out->mutable_duty());
  if (quote.promise) out->set_promised_days(FormatPromisedDays(*quote.promise));
  out->set_valid_from(FormatDay(quote.valid_from));
  if (quote.valid_until) out->set_valid_until(FormatDay(*quote.valid_until));
  out->set_minimum_units(quote.key.minimum_units);
}

void WriteTerms(const Terms& terms, v1::Terms* out) {
  out->set_supplier(terms.supplier);
  if (terms.monthly_order_limit) out->set_monthly_order_limit(*terms.monthly_order_limit);
  out->set_month_start_day(terms.month_start_day);
  if (terms.next_step_cost) WriteMoney(*terms.next_step_cost, out->mutable_next_step_cost());
  if (terms.claim_days) out->set_claim_days(*terms.claim_days);
  if (terms.promise) out->set_promised_days(FormatPromisedDays(*terms.promise));
  out->set_origin(terms.origin);
  out->set_service(terms.service);
  for (const DayRange& closure : terms.closures) {
    v1::DateRange* range = out->add_closures();
    range->set_first_date(FormatDay(closure.first));
    range->set_last_date(FormatDay(closure.last));
  }
  if (terms.targets != Targets{}) {
    v1::Targets* to = out->mutable_targets();
    if (terms.targets.on_time) to->set_on_time(*terms.targets.on_time);
    if (terms.targets.defect) to->set_defect(*terms.targets.defect);
    if (terms.targets.delivery_days) to->set_delivery_days(*terms.targets.delivery_days);
    if (terms.targets.response_days) to->set_response_days(*terms.targets.response_days);
  }
  for (const std::string& tag : terms.tags) out->add_tags(tag);
}

}  // namespace

v1::QuoteStatus::State StateOn(const HeldQuote& held, Day today) {
  if (held.HoldsOn(today)) return v1::QuoteStatus::STATE_VALID;
  const std::optional<Day> last = LastDayOf(held);
  const bool replaced = last != held.quote.valid_until;
  if (replaced && *last < held.quote.valid_from) return v1::QuoteStatus::STATE_REPLACED;
  if (today < held.quote.valid_from) return v1::QuoteStatus::STATE_NOT_YET;
  return replaced ? v1::QuoteStatus::STATE_REPLACED : v1::QuoteStatus::STATE_EXPIRED;
}

void WriteQuoteStatus(const HeldQuote& held, Day today, v1::QuoteStatus* out) {
  WriteQuote(held.quote, out->mutable_quote());
  WriteTime(held.loaded_at, out->mutable_load_time());
  out->set_state(StateOn(held, today));
  // A daemon on the time of events may be behind the wall clock that loads are stamped with.
  out->set_age_days(std::max(0, today - DayOf(held.loaded_at)));
  const std::optional<Day> last = LastDayOf(held);
  if (last && held.HoldsOn(today)) out->set_days_left(*last - today + 1);
}

void WriteTermsStatus(const TermsBook& book, const std::string& supplier, const MonthUse& use,
                      Day today, v1::TermsStatus* out) {
  out->set_supplier(supplier);
  if (const HeldTerms* held = book.Find(supplier)) {
    WriteTerms(held->terms, out->mutable_terms());
    WriteTime(held->loaded_at, out->mutable_load_time());
  }
  if (const Pause* pause = book.PausedOn(supplier, today)) {
    if (pause->until) out->mutable_pause()->set_until_date(FormatDay(*pause->until));
    out->mutable_pause()->set_reason(pause->reason);
  }
  out->set_month_paid_count(use.paid_count);
  out->set_month_assigned_count(use.assigned_count);
  out->set_next_month_date(FormatDay(use.month.next));
}

void WriteExchangeRate(const ExchangeRate& rate, v1::ExchangeRate* out) {
  out->set_date(FormatDay(rate.date));
  out->set_from_currency(rate.from);
  out->set_to_currency(rate.to);
  out->set_rate(FormatRate(rate));
}

void WriteItem(const Item& item, v1::Item* out) {
  out->set_item(item.item);
  out->set_item_class(item.item_class);
  out->set_supplier(item.supplier);
  out->set_supplier_item(item.supplier_item);
}

void WriteCosts(const CostSettings& settings, v1::CostSettings* out) {
  const auto write = [&](int64_t minor_units, v1::Money* to) {
    WriteMoney({minor_units, settings.currency}, to);
  };
  out->set_currency_code(settings.currency);
  for (const CostClass& one : settings.classes) {
    v1::CostClass* to = out->add_classes();
    to->set_shop(one.shop);
    to->set_item_class(one.item_class);
    if (one.sale) write(*one.sale, to->mutable_sale());
    write(one.late_order, to->mutable_late_order());
    write(one.day_late, to->mutable_day_late());
    write(one.day_waiting, to->mutable_day_waiting());
    write(one.unanswered_day, to->mutable_unanswered_day());
    for (const Code kind : kDefectKinds) {
      const DefectCost& cost = one.defects[IndexOfKind(kind)];
      if (cost == DefectCost{}) continue;
      v1::DefectCost* defect = to->add_defects();
      defect->set_kind(std::string(NameOfKind(kind)));
      defect->set_refund_share(cost.refund_share);
      defect->set_reship(cost.reship);
    }
  }
  out->mutable_trials()->set_on(settings.trials.on);
  out->mutable_trials()->set_most_share(settings.trials.most_share);
  if (settings.trials.most_cost) {
    write(*settings.trials.most_cost, out->mutable_trials()->mutable_most_cost());
  }
}

}  // namespace plumblane
