#include "client/export_rows.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <set>

#include "base/money.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

// "13.75": exact.
std::string Amount(int64_t minor_units, const std::string& currency) {
  if (!MinorUnitDigits(currency)) return absl::StrCat(minor_units);
  const std::string text = FormatMoney({minor_units, currency});
  return text.substr(0, text.find(' '));
}

std::string TimeOf(bool has, const google::protobuf::Timestamp& time) {
  return has ? FormatInstant(ToInstant(time)) : "";
}

std::set<std::string> CurrenciesOf(const v1::Event& event) {
  std::set<std::string> currencies;
  if (event.has_cost()) currencies.insert(event.cost().currency_code());
  if (event.has_sale()) currencies.insert(event.sale().currency_code());
  if (event.has_claim()) currencies.insert(event.claim().currency_code());
  if (event.has_refund()) currencies.insert(event.refund().currency_code());
  return currencies;
}

// That of the cost where there is one.
std::string CurrencyOf(const v1::Event& event) {
  if (event.has_cost()) return event.cost().currency_code();
  const std::set<std::string> currencies = CurrenciesOf(event);
  return currencies.empty() ? "" : *currencies.begin();
}

std::string SideOf(const v1::Event& event) {
  if (event.type() != v1::EVENT_TYPE_REFUNDED) return "";
  return event.refund_side() == v1::REFUND_SIDE_SHOP ? "shop" : "supplier";
}

// Other events do not take one from a file.
bool TakesTracking(const v1::Event& event) {
  return event.type() == v1::EVENT_TYPE_SHIPPED || event.type() == v1::EVENT_TYPE_DELIVERED;
}

TableCell Number(std::string column, bool has, int64_t number) {
  return FigureCell(std::move(column), has ? absl::StrCat(number) : "");
}

std::string ServiceOf(const std::string& service) { return service.empty() ? "-" : service; }

// "lowest_cost" of "MODE_LOWEST_COST".
std::string Word(const std::string& name, size_t prefix) {
  std::string word = name.substr(std::min(prefix, name.size()));
  absl::AsciiStrToLower(&word);
  return word;
}

TableRow CohortRow(const v1::Cohort& cohort, const v1::CohortCount& count, bool is_sum) {
  const auto minor_units = static_cast<double>(count.count());
  return {TextCell("supplier", cohort.supplier()),
          TextCell("origin", cohort.lane().origin()),
          TextCell("destination", cohort.lane().destination()),
          TextCell("service", ServiceOf(cohort.lane().service())),
          TextCell("measure", cohort.measure()),
          TextCell("date", cohort.date()),
          FlagCell("excused", count.excused()),
          TextCell("outcome", count.outcome()),
          Number("days", count.has_days(), count.days()),
          FigureCell("seconds", count.has_seconds() ? FigureText(count.seconds()) : ""),
          TextCell("currency", count.currency_code()),
          Number("closed_days", count.has_closed_days(), count.closed_days()),
          Number("orders", !is_sum, count.count()),
          FigureCell("amount", is_sum ? AmountText(minor_units, count.currency_code()) : "")};
}

}  // namespace

bool HasTwoCurrencies(const v1::Event& event) { return CurrenciesOf(event).size() > 1; }

TableRow EventRow(const v1::Event& event) {
  const std::string currency = CurrencyOf(event);
  const auto amount = [&](const char* column, bool has, const v1::Money& money) {
    const bool fits = has && money.currency_code() == currency;
    return FigureCell(column, fits ? Amount(money.minor_units(), currency) : "");
  };
  return {TextCell("event_id", event.event_id()),
          TextCell("source", event.source()),
          TextCell("shop", event.shop()),
          TextCell("order_id", event.order_id()),
          Number("part", true, std::max(1, event.part())),
          TextCell("type", NameOf(event.type())),
          TextCell("time", TimeOf(event.has_event_time(), event.event_time())),
          TextCell("supplier", event.supplier()),
          TextCell("origin", event.origin()),
          TextCell("destination", event.destination()),
          TextCell("service", event.service()),
          TextCell("promise", TimeOf(event.has_promise_time(), event.promise_time())),
          Number("promise_days", event.has_promise_days(), event.promise_days()),
          TextCell("item", event.item()),
          Number("units", event.has_unit_count(), event.unit_count()),
          amount("cost", event.has_cost(), event.cost()),
          amount("sale", event.has_sale(), event.sale()),
          TextCell("currency", currency),
          Number("replaces", event.replaces() > 0, event.replaces()),
          TextCell("tracking", TakesTracking(event) ? event.tracking() : ""),
          amount("refund", event.has_refund(), event.refund()),
          TextCell("by", SideOf(event)),
          amount("claim", event.has_claim(), event.claim()),
          TextCell("reason", NameOf(event.reason())),
          TextCell("retracts", event.retracts()),
          TextCell("revision", TimeOf(event.has_revision_time(), event.revision_time()))};
}

std::vector<TableRow> CohortRows(const v1::Cohort& cohort) {
  std::vector<TableRow> rows;
  const auto add_entered = [&](bool excused, int64_t orders) {
    v1::CohortCount entered;
    entered.set_outcome("entered");
    entered.set_excused(excused);
    entered.set_count(orders);
    if (orders != 0) rows.push_back(CohortRow(cohort, entered, /*is_sum=*/false));
  };
  add_entered(false, cohort.entered_count());
  add_entered(true, cohort.excused_entered_count());
  for (const v1::CohortCount& count : cohort.counts()) {
    const bool is_sum = !count.currency_code().empty() && count.outcome() != "quoted_orders";
    rows.push_back(CohortRow(cohort, count, is_sum));
  }
  return rows;
}

TableRow AssignmentRow(const v1::Assignment& assignment) {
  const std::string& currency = assignment.currency_code();
  const auto amount = [&](const char* column, bool has, double value) {
    return FigureCell(column, has ? AmountText(value, currency) : "");
  };
  return {TextCell("shop", assignment.shop()),
          TextCell("order_id", assignment.order_id()),
          Number("part", true, assignment.part()),
          TextCell("assigned", TimeOf(assignment.has_assign_time(), assignment.assign_time())),
          TextCell("state", Word(v1::Assignment::State_Name(assignment.state()), 6)),
          TextCell("supplier", assignment.supplier()),
          TextCell("origin", assignment.lane().origin()),
          TextCell("destination", assignment.lane().destination()),
          TextCell("service", ServiceOf(assignment.lane().service())),
          TextCell("item", assignment.item()),
          TextCell("supplier_item", assignment.supplier_item()),
          Number("units", true, assignment.unit_count()),
          TextCell("mode", Word(v1::Assignment::Mode_Name(assignment.mode()), 5)),
          FlagCell("trial", assignment.trial()),
          TextCell("instead_of", assignment.instead_of()),
          amount("dearer", assignment.has_dearer(), assignment.dearer()),
          amount("expected_saving", assignment.has_expected_saving(), assignment.expected_saving()),
          TextCell("currency", currency),
          TextCell("reason", assignment.reason())};
}

}  // namespace plumblane::client
