#include "engine/pricing.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <set>
#include <span>

namespace plumblane {

void AddOffers(const OrderToSource& order, const Agreements& agreements, Day today,
               std::vector<Pair>& pairs) {
  if (agreements.quotes.all().empty()) return;
  std::set<std::pair<std::string, std::string>> shipped;  // supplier, origin
  for (const Pair& pair : pairs) shipped.emplace(pair.supplier, pair.lane.origin);
  for (const QuoteBook::Offer& offer :
       agreements.quotes.OffersTo(order.destination, order.item, order.units, today)) {
    if (order.origin && *order.origin != offer.lane.origin) continue;
    if (order.service && !offer.lane.service.empty() && *order.service != offer.lane.service) {
      continue;
    }
    // Quoted for any service, nothing says that there is the one asked for.
    if (offer.lane.service.empty() &&
        (order.service || shipped.contains({offer.supplier, offer.lane.origin}))) {
      continue;
    }
    pairs.push_back({offer.supplier, offer.lane});
  }
  std::sort(pairs.begin(), pairs.end());
  pairs.erase(std::unique(pairs.begin(), pairs.end()), pairs.end());
}

absl::StatusOr<Offer> PriceOf(const Pair& pair, const OrderToSource& order,
                              const Agreements& agreements, Day today, std::optional<double> sale) {
  const HeldQuote* held =
      agreements.quotes.Find(pair.supplier, order.item, pair.lane, order.units, today);
  if (held == nullptr) {
    return absl::NotFoundError(absl::StrCat(
        "no quote holds for ", order.item.empty() ? "any item" : absl::StrCat("item ", order.item),
        " on ", FormatDay(today), order.item.empty() ? "; name the item" : ""));
  }
  const std::optional<Money> landed = LandedPrice(held->quote, order.units);
  if (!landed) return absl::OutOfRangeError("the quoted price of so many units is beyond measure");
  const auto converted = agreements.exchange.Convert(*landed, agreements.costs.currency, today);
  if (!converted.ok()) return converted.status();

  Offer offer;
  offer.priced.quoted = *landed;
  offer.priced.landed = converted->money.minor_units;
  if (converted->rate != nullptr) {
    const ExchangeRate& rate = *converted->rate;
    offer.priced.exchange_rate = absl::StrCat("1 ", rate.from, " = ", FormatRate(rate), " ",
                                              rate.to, " of ", FormatDay(rate.date));
  }
  offer.terms.landed = static_cast<double>(offer.priced.landed);
  offer.terms.sale = sale;
  const HeldTerms* terms = agreements.terms.Find(pair.supplier);
  const std::span<const DayRange> closures =
      terms ? std::span<const DayRange>(terms->terms.closures) : std::span<const DayRange>();
  offer.terms.closed_days = FirstOpenDay(today, closures) - today;
  std::optional<PromisedDays> promise = held->quote.promise;
  if (!promise && terms != nullptr) promise = terms->terms.promise;
  if (promise) {
    offer.terms.promised_days =
        PromisedDay(*promise, today, closures) - today - offer.terms.closed_days;
  }
  offer.priced.promised_days = offer.terms.promised_days;
  return offer;
}

}  // namespace plumblane
