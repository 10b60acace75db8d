#include "agreements/quotes.h"

#include <algorithm>
#include <numeric>
#include <set>
#include <tuple>

namespace plumblane {
namespace {

const HeldQuote* HeldOn(const std::vector<HeldQuote>& held, Day day) {
  for (auto latest = held.rbegin(); latest != held.rend(); ++latest) {
    if (latest->HoldsOn(day)) return &*latest;
  }
  return nullptr;
}

}  // namespace

std::optional<Money> LandedPrice(const Quote& quote, int64_t units) {
  const int64_t per_unit = quote.price.minor_units + quote.duty;
  if (per_unit > 0 && units > (kMaxMinorUnits - quote.freight) / per_unit) return std::nullopt;
  return Money{per_unit * units + quote.freight, quote.price.currency};
}

bool HeldQuote::HoldsOn(Day day) const {
  return quote.valid_from <= day && (!quote.valid_until || day <= *quote.valid_until) &&
         (!replaced_from || day < *replaced_from);
}

void QuoteBook::Load(const std::vector<Quote>& quotes, Instant loaded_at) {
  std::map<QuoteKey, Day> earliest;
  for (const Quote& quote : quotes) {
    Day& day = earliest.try_emplace(quote.key, quote.valid_from).first->second;
    day = std::min(day, quote.valid_from);
  }
  for (const auto& [key, day] : earliest) {
    const auto [at, is_new] = quotes_.try_emplace(key);
    if (is_new) by_destination_[{key.lane.destination, key.item}].push_back(key);
    for (HeldQuote& held : at->second) {
      const std::optional<Day>& last = held.quote.valid_until;
      if (last && *last < day) continue;
      held.replaced_from = std::min(held.replaced_from.value_or(day), day);
    }
  }
  for (const Quote& quote : quotes) quotes_[quote.key].push_back({quote, loaded_at, {}});
}

const HeldQuote* QuoteBook::Find(const std::string& supplier, const std::string& item,
                                 const Lane& lane, int64_t units, Day day) const {
  const Lane any_service{lane.origin, lane.destination, ""};
  for (const QuoteKey& most_special :
       {QuoteKey{supplier, item, lane, units}, QuoteKey{supplier, item, any_service, units},
        QuoteKey{supplier, "", lane, units}, QuoteKey{supplier, "", any_service, units}}) {
    QuoteKey key = most_special;
    for (auto at = quotes_.upper_bound(key); at != quotes_.begin();) {
      --at;
      key.minimum_units = at->first.minimum_units;
      if (at->first != key) break;
      if (const HeldQuote* held = HeldOn(at->second, day)) return held;
    }
  }
  return nullptr;
}

bool QuoteBook::Holds(const Quote& quote) const {
  const auto found = quotes_.find(quote.key);
  return found != quotes_.end() &&
         std::any_of(found->second.begin(), found->second.end(), [&](const HeldQuote& held) {
           return !held.replaced_from && held.quote == quote;
         });
}

std::vector<QuoteBook::Offer> QuoteBook::OffersTo(const std::string& destination,
                                                  const std::string& item, int64_t units,
                                                  Day day) const {
  std::set<Offer> offers;
  for (const std::string& quoted_item : {item, std::string()}) {
    const auto found = by_destination_.find({destination, quoted_item});
    if (found == by_destination_.end()) continue;
    for (const QuoteKey& key : found->second) {
      if (key.minimum_units > units || HeldOn(quotes_.at(key), day) == nullptr) continue;
      offers.insert({key.supplier, key.lane});
    }
  }
  return {offers.begin(), offers.end()};
}

std::optional<std::pair<size_t, size_t>> FindOverlap(const std::vector<Quote>& quotes) {
  std::vector<size_t> order(quotes.size());
  std::iota(order.begin(), order.end(), size_t{0});
  std::sort(order.begin(), order.end(), [&](size_t a, size_t b) {
    return std::tie(quotes[a].key, quotes[a].valid_from, a) <
           std::tie(quotes[b].key, quotes[b].valid_from, b);
  });
  // By their first days, where any two overlap, two neighbours do.
  for (size_t i = 1; i < order.size(); ++i) {
    const Quote& before = quotes[order[i - 1]];
    const Quote& after = quotes[order[i]];
    if (before.key != after.key) continue;
    if (before.valid_until && *before.valid_until < after.valid_from) continue;
    return std::minmax(order[i - 1], order[i]);
  }
  return std::nullopt;
}

}  // namespace plumblane
