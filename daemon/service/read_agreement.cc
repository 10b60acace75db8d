#include "service/read_agreement.h"

#include <algorithm>
#include <numeric>
#include <set>
#include <tuple>

#include "service/read_event.h"

namespace plumblane {
namespace {

// Errors of conflicts among rows are told up to here: each is searched for anew.
constexpr int kMostConflicts = 100;

std::string ReadQuotedItem(const v1::Quote& in, const ItemBook& items, RowReader& row) {
  if (in.supplier_item().empty()) {
    if (in.item().empty() || in.item() == "*") return "";
    return items.OursFor(in.supplier(), in.item()).value_or(row.Code("item", in.item()));
  }
  if (!in.item().empty()) row.Bad("supplier_item", "expected item or supplier_item, not both");
  const auto item = items.ItemOf(in.supplier(), in.supplier_item());
  if (!item) {
    row.Bad("supplier_item",
            absl::StrCat("expected a code of ", in.supplier(), " that an item was loaded with"));
  }
  return item.value_or("");
}

Quote ReadQuote(const v1::Quote& in, const ItemBook& items, Day today, RowReader& row) {
  Quote quote;
  quote.key.supplier = row.Id("supplier", in.supplier());
  quote.key.item = ReadQuotedItem(in, items, row);
  quote.key.lane = {row.LaneEnd("origin", in.origin()),
                    row.LaneEnd("destination", in.destination()),
                    row.Word("service", in.service())};
  quote.key.minimum_units = row.Within<int64_t>(
      "minimum_units", in.minimum_units() == 0 ? 1 : in.minimum_units(), 1, kMaxUnits);
  if (in.has_price()) {
    quote.price = row.Sum("price", in.price());
  } else {
    row.Bad("price", "expected what a unit costs");
  }
  const std::string& currency = quote.price.currency;
  if (in.has_freight()) quote.freight = row.SumIn(currency, "the price", "freight", in.freight());
  if (in.has_duty()) quote.duty = row.SumIn(currency, "the price", "duty", in.duty());
  if (row.ok() && !LandedPrice(quote, quote.key.minimum_units)) {
    row.Bad("price", absl::StrCat("expected at most ", kMaxMinorUnits,
                                  " minor units for the least units with freight and duty"));
  }
  quote.promise = row.Promise("promised_days", in.promised_days());
  quote.valid_from = row.Date("valid_from", in.valid_from()).value_or(today);
  quote.valid_until = row.Date("valid_until", in.valid_until());
  if (row.ok() && quote.valid_until && *quote.valid_until < quote.valid_from) {
    row.Bad("valid_until", absl::StrCat("expected a day not before ", FormatDay(quote.valid_from)));
  }
  return quote;
}

// Names each row whose days another of its key has already.
void FindOverlaps(const std::vector<Quote>& quotes, const std::vector<int>& indexes,
                  RowErrors& errors) {
  std::vector<size_t> order(quotes.size());
  std::iota(order.begin(), order.end(), 0);
  const auto rank = [&](size_t i) {
    return std::tie(quotes[i].key, quotes[i].valid_from, indexes[i]);
  };
  std::sort(order.begin(), order.end(), [&](size_t a, size_t b) { return rank(a) < rank(b); });
  std::optional<size_t> farthest;  // of the key so far, the one that ends last
  for (const size_t i : order) {
    const Quote& quote = quotes[i];
    if (!farthest || quotes[*farthest].key != quote.key) {
      farthest = i;
      continue;
    }
    const std::optional<Day> end = quotes[*farthest].valid_until;
    if (!end || quote.valid_from <= *end) {
      AddRowError(errors, indexes[i], "valid_from",
                  "expected days of their own: those of another row for the same supplier, "
                  "item, lane and units overlap");
    }
    if (end && (!quote.valid_until || *quote.valid_until > *end)) farthest = i;
  }
}

}  // namespace

std::vector<Quote> ReadQuotes(const Rows<v1::Quote>& in, const ItemBook& items, Day today,
                              RowErrors& errors) {
  std::vector<Quote> quotes;
  std::vector<int> indexes;
  for (int i = 0; i < in.size(); ++i) {
    RowReader row(i, errors);
    Quote quote = ReadQuote(in[i], items, today, row);
    if (!row.ok()) continue;
    quotes.push_back(std::move(quote));
    indexes.push_back(i);
  }
  FindOverlaps(quotes, indexes, errors);
  return quotes;
}

std::vector<ExchangeRate> ReadExchangeRates(const Rows<v1::ExchangeRate>& in, RowErrors& errors) {
  std::vector<ExchangeRate> rates;
  std::set<std::tuple<std::string, std::string, Day>> seen;
  for (int i = 0; i < in.size(); ++i) {
    RowReader row(i, errors);
    const std::string from = row.Currency("from_currency", in[i].from_currency());
    const std::string to = row.Currency("to_currency", in[i].to_currency());
    if (row.ok() && from == to) row.Bad("to_currency", "expected another than from_currency");
    const auto date = row.Date("date", in[i].date());
    if (in[i].date().empty()) row.Bad("date", "expected the day it was taken");
    if (!row.ok()) continue;
    auto rate = ParseExchangeRate(from, to, in[i].rate(), *date);
    row.Check("rate", rate.status());
    if (!rate.ok()) continue;
    if (!seen.emplace(from, to, *date).second) {
      row.Bad("date", "expected one rate a day: an earlier row has it already");
    }
    rates.push_back(*std::move(rate));
  }
  return rates;
}

std::vector<Item> ReadItems(const Rows<v1::Item>& in, const ItemBook& known, RowErrors& errors) {
  std::vector<Item> items;
  std::vector<int> indexes;
  for (int i = 0; i < in.size(); ++i) {
    RowReader row(i, errors);
    Item item;
    item.item = row.Code("item", in[i].item());
    if (item.item == "*") row.Bad("item", "expected one item, not any");
    item.item_class = row.Word("item_class", in[i].item_class());
    item.supplier = row.Id("supplier", in[i].supplier(), true);
    item.supplier_item = in[i].supplier_item();
    if (item.supplier.empty() != item.supplier_item.empty()) {
      row.Bad("supplier_item", "expected supplier and supplier_item, or neither");
    } else if (!item.supplier.empty()) {
      row.Check("supplier_item", CheckEventId(item.supplier_item));
    } else if (in[i].item_class().empty()) {
      row.Bad("", "expected item_class, or supplier and supplier_item");
    }
    if (!row.ok()) continue;
    items.push_back(std::move(item));
    indexes.push_back(i);
  }
  std::vector<Item> right = items;
  for (int told = 0; told < kMostConflicts; ++told) {
    const auto conflict = known.FindConflict(right);
    if (!conflict) break;
    const auto at = static_cast<std::ptrdiff_t>(*conflict);
    AddRowError(errors, indexes[*conflict], right[*conflict].supplier.empty() ? "item_class" : "",
                "expected one class for an item, one code of a supplier for an item, and one item "
                "for a code");
    right.erase(right.begin() + at);
    indexes.erase(indexes.begin() + at);
  }
  return items;
}

}  // namespace plumblane
