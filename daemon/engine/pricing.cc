#include "engine/pricing.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <span>

namespace plumblane {

std::vector<Pair> PairsOffering(const OrderToSource& order,
                                std::span<const HeldQuote* const> offers,
                                std::span<const Pair* const> shipped) {
  std::vector<Pair> more;
  auto own = shipped.begin();  // the supplier's first
  for (const HeldQuote* offer : offers) {
    const std::string& supplier = offer->quote.key.supplier;
    const Lane& lane = offer->quote.key.lane;
    while (own != shipped.end() && (*own)->supplier < supplier) ++own;
    if (order.origin && *order.origin != lane.origin) continue;
    // Quoted for any service, nothing says that there is the one asked for.
    if (order.service && (lane.service.empty() || *order.service != lane.service)) continue;
    bool is_known = false;
    for (auto at = own; at != shipped.end() && (*at)->supplier == supplier; ++at) {
      is_known = is_known || ((*at)->lane.origin == lane.origin &&
                              (lane.service.empty() || (*at)->lane.service == lane.service));
    }
    if (!is_known) more.push_back({supplier, lane});
  }
  return more;
}

absl::StatusOr<Offer> PriceOf(const Pair& pair, const OrderToSource& order,
                              std::span<const HeldQuote* const> offers,
                              const Agreements& agreements, Day today, std::optional<double> sale) {
  const HeldQuote* held = QuoteBook::FindAmong(offers, pair.supplier, pair.lane);
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
