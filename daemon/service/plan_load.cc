// What loads would do.
#include <absl/strings/str_join.h>

#include <algorithm>
#include <map>
#include <set>

#include "service/agreement_service.h"
#include "service/read_agreement.h"

namespace plumblane {
namespace {

constexpr size_t kMostNotes = 10;  // suppliers named one by one

absl::Status CheckSize(int rows) {
  if (rows <= kMaxLoadRows) return absl::OkStatus();
  return absl::ResourceExhaustedError(
      absl::StrCat("a load of ", rows, " rows; expected at most ", kMaxLoadRows));
}

// Counts the rows and keeps those to log.
template <typename Row>
void Finish(std::vector<Row> changed, int row_count, LoadPlan& plan) {
  plan.response.set_loaded_count(static_cast<int>(changed.size()));
  plan.response.set_unchanged_count(row_count - static_cast<int>(changed.size()));
  if (!changed.empty()) plan.changes.emplace_back(std::move(changed));
}

void NoteUnknown(const View& view, const std::set<std::string>& suppliers, LoadPlan& plan) {
  const std::set<Pair>& known = view.catalog().pairs->by_supplier;
  std::vector<std::string> unknown;
  for (const std::string& supplier : suppliers) {
    const auto pair = known.lower_bound(Pair{supplier, {}});
    if (pair == known.end() || pair->supplier != supplier) unknown.push_back(supplier);
  }
  for (size_t i = 0; i < std::min(unknown.size(), kMostNotes); ++i) {
    plan.response.add_notes(absl::StrCat("no order names supplier ", unknown[i], " yet"));
  }
  if (unknown.size() > kMostNotes) {
    plan.response.add_notes(absl::StrCat("nor ", unknown.size() - kMostNotes, " more suppliers"));
  }
}

// Adds the first of them, and how many more there are.
void AddNotes(const std::vector<std::string>& notes, LoadPlan& plan) {
  for (size_t i = 0; i < std::min(notes.size(), kMostNotes); ++i) {
    plan.response.add_notes(notes[i]);
  }
  if (notes.size() <= kMostNotes) return;
  plan.response.add_notes(absl::StrCat("and ", notes.size() - kMostNotes, " more like that"));
}

// The rows that name an item of ours by the supplier's code, or might be taken to.
void NoteReadItems(const ItemBook& items, const Rows<v1::Quote>& sent,
                   const std::vector<Quote>& quotes, LoadPlan& plan) {
  std::set<std::string> read, ambiguous;
  for (size_t i = 0; i < quotes.size(); ++i) {
    const std::string& said = sent[static_cast<int>(i)].item();
    const auto& [supplier, item, lane, units] = quotes[i].key;
    if (!item.empty() && !said.empty() && said != item) {
      read.insert(absl::StrCat("item ", said, " is what ", supplier, " calls ", item,
                               ": taken as a quote for that"));
    } else if (!said.empty() && items.IsAmbiguous(supplier, said)) {
      ambiguous.insert(absl::StrCat("item ", said, " is ours and what ", supplier, " calls ",
                                    *items.ItemOf(supplier, said),
                                    ": taken as ours; give the other as supplier_item"));
    }
  }
  AddNotes({read.begin(), read.end()}, plan);
  AddNotes({ambiguous.begin(), ambiguous.end()}, plan);
}

// Codes of suppliers that will be items of ours too, or that quotes name like one.
void NoteAmbiguous(const Agreements& agreed, const std::vector<Item>& items, LoadPlan& plan) {
  ItemBook after = agreed.items;
  after.Load(items);
  std::map<std::string, std::string> quoting;  // item to a supplier that quotes for it
  for (const auto& [key, quotes] : agreed.quotes.all()) quoting.emplace(key.item, key.supplier);
  std::vector<std::string> notes;
  for (const Item& row : after.all()) {
    if (row.supplier.empty()) continue;
    const std::string what =
        absl::StrCat(row.supplier, " calls ", row.item, " ", row.supplier_item, ", which is ");
    if (after.IsAmbiguous(row.supplier, row.supplier_item)) {
      if (agreed.items.IsAmbiguous(row.supplier, row.supplier_item)) continue;
      notes.push_back(absl::StrCat(what, "an item of ours too: orders that say so mean ours"));
    } else if (const auto at = quoting.find(row.supplier_item);
               at != quoting.end() && row.supplier_item != row.item &&
               agreed.items.CodeAt(row.supplier, row.item) != row.supplier_item) {
      notes.push_back(absl::StrCat(what, "quoted for by ", at->second, " as an item: orders of ",
                                   row.supplier, " that say so mean ", row.item));
    }
  }
  AddNotes(notes, plan);
}

void NoteMissingRates(const View& view, const std::set<std::string>& currencies,
                      const std::string& to, LoadPlan& plan) {
  if (to.empty()) return;
  const Day today = DayOf(view.now());
  for (const std::string& from : currencies) {
    if (view.catalog().agreements->exchange.Convert({1, from}, to, today).ok()) continue;
    plan.response.add_notes(absl::StrCat("no exchange rate from ", from, " to ", to, ": quotes in ",
                                         from, " cannot be compared"));
  }
}

// A quote without a first day of its own says what holds already when only that day differs.
const HeldQuote* SameToday(const QuoteBook& book, const Quote& quote, Day today) {
  const auto held = book.all().find(quote.key);
  if (held == book.all().end()) return nullptr;
  for (const HeldQuote& one : held->second) {
    if (!one.HoldsOn(today) || one.replaced_from) continue;
    Quote same = quote;
    same.valid_from = one.quote.valid_from;
    if (same == one.quote) return &one;
  }
  return nullptr;
}

// Rows of a key are loaded together or not at all: a row left out would be ended by its neighbour.
std::vector<Quote> ChangedQuotes(const QuoteBook& book, const std::vector<Quote>& quotes,
                                 const Rows<v1::Quote>& sent, Day today) {
  std::set<QuoteKey> changed;
  for (size_t i = 0; i < quotes.size(); ++i) {
    const bool from_today = sent[static_cast<int>(i)].valid_from().empty();
    if (!book.Holds(quotes[i]) && !(from_today && SameToday(book, quotes[i], today))) {
      changed.insert(quotes[i].key);
    }
  }
  std::vector<Quote> to_load;
  std::copy_if(quotes.begin(), quotes.end(), std::back_inserter(to_load),
               [&](const Quote& quote) { return changed.contains(quote.key); });
  return to_load;
}

}  // namespace

absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadQuotesRequest& request) {
  if (absl::Status status = CheckSize(request.quotes_size()); !status.ok()) return status;
  const Agreements& agreed = *view.catalog().agreements;
  const Day today = DayOf(view.now());
  LoadPlan plan;
  const std::vector<Quote> quotes =
      ReadQuotes(request.quotes(), agreed.items, today, *plan.response.mutable_errors());
  if (!plan.response.errors().empty()) return plan;
  Finish(ChangedQuotes(agreed.quotes, quotes, request.quotes(), today), request.quotes_size(),
         plan);
  std::set<std::string> suppliers, currencies;
  for (const Quote& quote : quotes) {
    suppliers.insert(quote.key.supplier);
    currencies.insert(quote.price.currency);
  }
  NoteReadItems(agreed.items, request.quotes(), quotes, plan);
  NoteUnknown(view, suppliers, plan);
  NoteMissingRates(view, currencies, agreed.costs.currency, plan);
  return plan;
}

absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadTermsRequest& request) {
  if (absl::Status status = CheckSize(request.terms_size()); !status.ok()) return status;
  LoadPlan plan;
  std::vector<Terms> terms = ReadTerms(request.terms(), *plan.response.mutable_errors());
  if (!plan.response.errors().empty()) return plan;
  std::set<std::string> suppliers;
  for (const Terms& one : terms) suppliers.insert(one.supplier);
  std::erase_if(terms, [&](const Terms& one) {
    const HeldTerms* held = view.catalog().agreements->terms.Find(one.supplier);
    return held && held->terms == one;
  });
  Finish(std::move(terms), request.terms_size(), plan);
  NoteUnknown(view, suppliers, plan);
  return plan;
}

absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadExchangeRatesRequest& request) {
  if (absl::Status status = CheckSize(request.rates_size()); !status.ok()) return status;
  LoadPlan plan;
  std::vector<ExchangeRate> rates =
      ReadExchangeRates(request.rates(), *plan.response.mutable_errors());
  if (!plan.response.errors().empty()) return plan;
  const auto& known = view.catalog().agreements->exchange.all();
  std::erase_if(rates, [&](const ExchangeRate& rate) {
    const auto pair = known.find({rate.from, rate.to});
    if (pair == known.end()) return false;
    const auto held = pair->second.find(rate.date);
    return held != pair->second.end() && held->second == rate;
  });
  Finish(std::move(rates), request.rates_size(), plan);
  return plan;
}

absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadItemsRequest& request) {
  if (absl::Status status = CheckSize(request.items_size()); !status.ok()) return status;
  const ItemBook& known = view.catalog().agreements->items;
  LoadPlan plan;
  std::vector<Item> items = ReadItems(request.items(), known, *plan.response.mutable_errors());
  if (!plan.response.errors().empty()) return plan;
  std::set<std::string> suppliers;
  for (const Item& item : items) {
    if (!item.supplier.empty()) suppliers.insert(item.supplier);
  }
  NoteAmbiguous(*view.catalog().agreements, items, plan);
  std::erase_if(items, [&](const Item& item) {
    return (item.item_class.empty() || item.item_class == known.ClassOf(item.item)) &&
           (item.supplier.empty() || item.supplier_item == known.CodeAt(item.supplier, item.item));
  });
  Finish(std::move(items), request.items_size(), plan);
  NoteUnknown(view, suppliers, plan);
  return plan;
}

absl::StatusOr<LoadPlan> PlanLoad(const View& view, const v1::LoadCostsRequest& request) {
  const int classes = request.settings().classes_size();
  if (absl::Status status = CheckSize(classes); !status.ok()) return status;
  const Agreements& agreed = *view.catalog().agreements;
  LoadPlan plan;
  CostSettings settings = ReadCosts(request.settings(), *plan.response.mutable_errors());
  if (!plan.response.errors().empty()) return plan;
  std::set<std::string> currencies;
  for (const auto& [key, quotes] : agreed.quotes.all()) {
    currencies.insert(quotes.back().quote.price.currency);
  }
  NoteMissingRates(view, currencies, settings.currency, plan);
  if (settings == agreed.costs) {
    plan.response.set_unchanged_count(classes);
  } else {
    plan.response.set_loaded_count(classes);
    plan.changes.emplace_back(std::move(settings));
  }
  return plan;
}

}  // namespace plumblane
