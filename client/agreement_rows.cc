#include "client/agreement_rows.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>

#include <algorithm>

#include "base/lane.h"
#include "client/option_values.h"
#include "client/row_fields.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Outcome = std::optional<Complaint>;

constexpr std::string_view kQuoteAll[] = {
    "supplier", "item",          "supplier_item", "origin",      "destination",
    "lane",     "service",       "price",         "freight",     "duty",
    "currency", "promised_days", "valid_from",    "valid_until", "minimum_units"};
constexpr std::string_view kQuoteNeeded[] = {"supplier", "price", "currency"};
constexpr std::string_view kTermsAll[] = {"supplier",
                                          "monthly_order_limit",
                                          "month_start_day",
                                          "next_step_cost",
                                          "currency",
                                          "claim_days",
                                          "promised_days",
                                          "origin",
                                          "service",
                                          "closures",
                                          "target_on_time",
                                          "target_defect",
                                          "target_delivery_days",
                                          "target_response_days",
                                          "tags"};
constexpr std::string_view kTermsNeeded[] = {"supplier"};
constexpr std::string_view kRateAll[] = {"date", "from", "to", "rate"};
constexpr std::string_view kItemAll[] = {"item", "class", "supplier", "supplier_item"};
constexpr std::string_view kItemNeeded[] = {"item"};
constexpr std::string_view kOpenAll[] = {"order_id", "shop",     "destination", "item",   "units",
                                         "sale",     "currency", "origin",      "service"};
constexpr std::string_view kOpenNeeded[] = {"order_id", "destination"};

constexpr char kAnyItem[] = "*";
constexpr int kMostUnits = 1'000'000, kMostOrdersAMonth = 1'000'000, kMostClaimDays = 365;
constexpr int kMostTargetDays = 365;
constexpr size_t kMostRateDigits = 12;

absl::StatusOr<std::string> ParseAnyItem(const std::string& text) {
  return text == kAnyItem ? text : ParseItem(text);
}

// A quote for orders without a service cannot be told from one for any service.
absl::StatusOr<LaneQuery> ParseQuotedLane(const std::string& text) {
  absl::StatusOr<LaneQuery> lane = ParseLaneQuery(text);
  if (!lane.ok() || !lane->service || !lane->service->empty()) return lane;
  return absl::InvalidArgumentError("expected VN-DE/express, or VN-DE for any service");
}

absl::StatusOr<std::string> ParseQuotedService(const std::string& text) {
  if (text != "-") return ParseService(text);
  return absl::InvalidArgumentError("expected a service, or nothing for any");
}

// A plain decimal above 0.
absl::StatusOr<std::string> ParseRate(const std::string& text) {
  const size_t point = std::min(text.find('.'), text.size());
  const std::string whole = text.substr(0, point);
  const std::string decimals = point < text.size() ? text.substr(point + 1) : "0";
  const bool is_plain = (whole + decimals).find_first_not_of("0123456789") == std::string::npos &&
                        !whole.empty() && !decimals.empty() && whole.size() <= kMostRateDigits &&
                        decimals.size() <= kMostRateDigits;
  if (is_plain && text.find_first_of("123456789") != std::string::npos) return text;
  return absl::InvalidArgumentError(
      "expected a plain decimal above 0 with at most 12 digits on each side, such as 0.9213");
}

absl::StatusOr<double> ParseTargetDays(const std::string& text) {
  double days = 0;
  if (absl::SimpleAtod(text, &days) && days > 0 && days <= kMostTargetDays) return days;
  return absl::InvalidArgumentError(
      absl::StrCat("expected days above 0 up to ", kMostTargetDays, ", such as 2.5"));
}

std::vector<std::string> Words(const std::string& text) {
  return absl::StrSplit(text, ' ', absl::SkipEmpty());
}

// "2026-12-24..2026-12-31 2027-02-05".
absl::StatusOr<std::vector<v1::DateRange>> ParseClosures(const std::string& text) {
  std::vector<v1::DateRange> closures;
  for (const std::string& word : Words(text)) {
    const auto days = ParseDays(word);
    if (!days.ok()) {
      return absl::InvalidArgumentError(
          absl::StrCat(std::string(days.status().message()), " at ", Quoted(word)));
    }
    closures.emplace_back();
    closures.back().set_first_date(FormatDay(days->first));
    closures.back().set_last_date(FormatDay(days->second));
  }
  return closures;
}

// Where it goes: a lane, or its parts.
void ReadLane(RowFields& fields, v1::Quote& quote) {
  if (fields.Has("lane")) {
    for (const char* part : {"origin", "destination", "service"}) {
      if (fields.Has(part)) fields.Refuse(part, "expected either the lane or its parts");
    }
    fields.Read("lane", ParseQuotedLane, [&](const LaneQuery& lane) {
      quote.set_origin(lane.origin);
      quote.set_destination(lane.destination);
      quote.set_service(lane.service.value_or(""));
    });
    return;
  }
  fields.Need("origin", "VN", ParseLaneEnd, quote.mutable_origin());
  fields.Need("destination", "DE", ParseLaneEnd, quote.mutable_destination());
  fields.Read("service", ParseQuotedService, quote.mutable_service());
}

}  // namespace

TableColumns QuoteColumns() { return {kQuoteAll, kQuoteNeeded}; }
TableColumns TermsColumns() { return {kTermsAll, kTermsNeeded}; }
TableColumns RateColumns() { return {kRateAll, kRateAll}; }
TableColumns ItemColumns() { return {kItemAll, kItemNeeded}; }
TableColumns OpenOrderColumns() { return {kOpenAll, kOpenNeeded}; }

Outcome ReadQuote(const Row& row, v1::Quote& quote) {
  RowFields fields(row, kQuoteAll);
  fields.Need("supplier", "lotus-works", ParseId, quote.mutable_supplier());
  if (fields.Has("item") == fields.Has("supplier_item")) {
    fields.Refuse("item", "expected either an item, * for any, or the supplier's code for it");
  }
  fields.Read("item", ParseAnyItem, quote.mutable_item());
  fields.Read("supplier_item", ParseItem, quote.mutable_supplier_item());
  ReadLane(fields, quote);
  if (const auto price = fields.Amount("price")) *quote.mutable_price() = *price;
  if (const auto freight = fields.Amount("freight")) *quote.mutable_freight() = *freight;
  if (const auto duty = fields.Amount("duty")) *quote.mutable_duty() = *duty;
  if (!fields.Has("price")) fields.Miss("price", "13.75");
  fields.Read("promised_days", ParseWords, quote.mutable_promised_days());
  fields.Read("valid_from", ParseDate, quote.mutable_valid_from());
  fields.Read("valid_until", ParseDate, quote.mutable_valid_until());
  fields.Read("minimum_units", ParseNumber<1, kMostUnits>,
              [&](int units) { quote.set_minimum_units(units); });
  return fields.complaint();
}

Outcome ReadTerms(const Row& row, v1::Terms& terms) {
  RowFields fields(row, kTermsAll);
  fields.Need("supplier", "lotus-works", ParseId, terms.mutable_supplier());
  fields.Read("monthly_order_limit", ParseNumber<0, kMostOrdersAMonth>,
              [&](int limit) { terms.set_monthly_order_limit(limit); });
  fields.Read("month_start_day", ParseNumber<1, 28>,
              [&](int day) { terms.set_month_start_day(day); });
  if (const auto cost = fields.Amount("next_step_cost")) *terms.mutable_next_step_cost() = *cost;
  fields.Read("claim_days", ParseNumber<1, kMostClaimDays>,
              [&](int days) { terms.set_claim_days(days); });
  fields.Read("promised_days", ParseWords, terms.mutable_promised_days());
  fields.Read("origin", ParseLaneEnd, terms.mutable_origin());
  fields.Read("service", ParseService, terms.mutable_service());
  fields.Read("closures", ParseClosures, [&](const std::vector<v1::DateRange>& closures) {
    terms.mutable_closures()->Assign(closures.begin(), closures.end());
  });
  fields.Read("target_on_time", ParseShare,
              [&](double share) { terms.mutable_targets()->set_on_time(share); });
  fields.Read("target_defect", ParseShare,
              [&](double share) { terms.mutable_targets()->set_defect(share); });
  fields.Read("target_delivery_days", ParseTargetDays,
              [&](double days) { terms.mutable_targets()->set_delivery_days(days); });
  fields.Read("target_response_days", ParseTargetDays,
              [&](double days) { terms.mutable_targets()->set_response_days(days); });
  fields.Read("tags", ParseWords, [&](const std::string& tags) {
    for (const std::string& tag : Words(tags)) terms.add_tags(tag);
  });
  return fields.complaint();
}

Outcome ReadRate(const Row& row, v1::ExchangeRate& rate) {
  RowFields fields(row, kRateAll);
  fields.Need("date", "2026-03-05", ParseDate, rate.mutable_date());
  fields.Need("from", "USD", ParseCurrency, rate.mutable_from_currency());
  fields.Need("to", "EUR", ParseCurrency, rate.mutable_to_currency());
  fields.Need("rate", "0.9213", ParseRate, rate.mutable_rate());
  if (rate.from_currency() == rate.to_currency()) {
    fields.Refuse("to", "expected another currency than `from`");
  }
  return fields.complaint();
}

Outcome ReadItem(const Row& row, v1::Item& item) {
  RowFields fields(row, kItemAll);
  fields.Need("item", "kite-swallow", ParseItem, item.mutable_item());
  fields.Read("class", ParseService, item.mutable_item_class());
  fields.Read("supplier", ParseId, item.mutable_supplier());
  fields.Read("supplier_item", ParseItem, item.mutable_supplier_item());
  if (fields.Has("supplier") != fields.Has("supplier_item")) {
    fields.Refuse(fields.Has("supplier") ? "supplier_item" : "supplier",
                  "expected both the supplier and its code, or neither");
  }
  if (!fields.Has("class") && !fields.Has("supplier")) {
    fields.Refuse("class", "expected a class, or a supplier and its code");
  }
  return fields.complaint();
}

Outcome ReadOpenOrder(const Row& row, const std::string& shop, v1::OrderToAssign& order) {
  RowFields fields(row, kOpenAll);
  order.set_shop(shop);
  fields.Need("order_id", "1042", ParseId, order.mutable_order_id());
  fields.Read("shop", ParseId, order.mutable_shop());
  fields.Need("destination", "DE", ParseLaneEnd, order.mutable_destination());
  fields.Read("item", ParseItem, order.mutable_item());
  fields.Read("units", ParseNumber<1, kMostUnits>, [&](int units) { order.set_unit_count(units); });
  if (const auto sale = fields.Amount("sale")) *order.mutable_sale() = *sale;
  fields.Read("origin", ParseLaneEnd, order.mutable_origin());
  fields.Read("service", ParseService,
              [&](const std::string& service) { order.set_service(service); });
  return fields.complaint();
}

}  // namespace plumblane::client
