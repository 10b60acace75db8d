#include "agreements/quotes.h"

#include <algorithm>
#include <numeric>
#include <tuple>

namespace plumblane {
namespace {

const HeldQuote* HeldOn(const std::vector<HeldQuote>& held, Day day) {
  for (auto latest = held.rbegin(); latest != held.rend(); ++latest) {
    if (latest->HoldsOn(day)) return &*latest;
  }
  return nullptr;
}

auto PlaceOf(const HeldQuote& held) {
  return std::tie(held.quote.key.supplier, held.quote.key.lane);
}

bool IsBefore(const HeldQuote* one, const HeldQuote* other) {
  return PlaceOf(*one) < PlaceOf(*other);
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

QuoteBook::QuoteBook(const QuoteBook& other) : quotes_(other.quotes_) {
  for (const auto& quotes : quotes_) Index(quotes);
}

void QuoteBook::Index(const Quotes::value_type& quotes) {
  const QuoteKey& key = quotes.first;
  auto& places = by_destination_[{key.lane.destination, key.item}];
  places.insert(std::upper_bound(places.begin(), places.end(), &quotes,
                                 [](auto* one, auto* other) { return one->first < other->first; }),
                &quotes);
}

void QuoteBook::Load(const std::vector<Quote>& quotes, Instant loaded_at) {
  std::map<QuoteKey, Day> earliest;
  for (const Quote& quote : quotes) {
    Day& day = earliest.try_emplace(quote.key, quote.valid_from).first->second;
    day = std::min(day, quote.valid_from);
  }
  for (const auto& [key, day] : earliest) {
    const auto [at, is_new] = quotes_.try_emplace(key);
    if (is_new) Index(*at);
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

std::vector<const HeldQuote*> QuoteBook::OffersTo(const std::string& destination,
                                                  const std::string& item, int64_t units,
                                                  Day day) const {
  std::vector<const HeldQuote*> offers;
  const auto add = [&](const std::string& quoted_item) {
    const auto found = by_destination_.find({destination, quoted_item});
    if (found == by_destination_.end()) return;
    // Of one place those for more units come later.
    const auto first = static_cast<std::ptrdiff_t>(offers.size());
    for (const Quotes::value_type* quotes : found->second) {
      if (quotes->first.minimum_units > units) continue;
      const HeldQuote* held = HeldOn(quotes->second, day);
      if (held == nullptr) continue;
      if (offers.begin() + first != offers.end() && PlaceOf(*offers.back()) == PlaceOf(*held)) {
        offers.back() = held;
      } else {
        offers.push_back(held);
      }
    }
    std::inplace_merge(offers.begin(), offers.begin() + first, offers.end(), IsBefore);
  };
  add(item);
  if (!item.empty()) add("");
  // Of equals those of the item come first.
  const auto is_same = [](const HeldQuote* one, const HeldQuote* other) {
    return PlaceOf(*one) == PlaceOf(*other);
  };
  offers.erase(std::unique(offers.begin(), offers.end(), is_same), offers.end());
  return offers;
}

const HeldQuote* QuoteBook::FindAmong(std::span<const HeldQuote* const> offers,
                                      const std::string& supplier, const Lane& lane) {
  const auto is_special = [](const HeldQuote& held) {
    return std::pair(!held.quote.key.item.empty(), !held.quote.key.lane.service.empty());
  };
  const HeldQuote* best = nullptr;
  for (auto at = std::lower_bound(offers.begin(), offers.end(), supplier,
                                  [](const HeldQuote*held, const std::string&name) {
                                    return held->quote.key.supplier < name;
                                  });
       at != offers.end() && (*at)->quote.key.supplier == supplier; ++at) {
    const Lane& quoted = (*at)->quote.key.lane;
    const bool fits = quoted.origin == lane.origin && quoted.destination == lane.destination &&
                      (quoted.service.empty() || quoted.service == lane.service);
    if (fits && (best == nullptr || is_special(*best) < is_special(**at))) best = *at;
  }
  return best;
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
