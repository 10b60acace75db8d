// Quotes: what a supplier asks for an item to a destination, and which one holds on a day.
//
// Not thread-safe for changes; const use is. Find costs a few look-ups in a map.
#pragma once

#include <compare>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "agreements/promised_days.h"
#include "base/lane.h"
#include "base/money.h"
#include "base/time.h"

namespace plumblane {

struct QuoteKey {
  std::string supplier;
  std::string item;  // "" = any item without a quote of its own
  Lane lane;         // service "" = any service without a quote of its own
  int64_t minimum_units = 1;
  auto operator<=>(const QuoteKey&) const = default;
};

// All amounts are in one currency, 0 to kMaxMinorUnits.
struct Quote {
  QuoteKey key;
  Money price;          // per unit
  int64_t freight = 0;  // minor units, per order
  int64_t duty = 0;     // minor units, per unit
  std::optional<PromisedDays> promise;
  Day valid_from;
  std::optional<Day> valid_until;  // last day; none = until replaced
  bool operator==(const Quote&) const = default;
};

// Price, freight and duty of an order of `units`. None when it is beyond kMaxMinorUnits.
// REQUIRES: units >= 1.
std::optional<Money> LandedPrice(const Quote& quote, int64_t units);

struct HeldQuote {
  Quote quote;
  Instant loaded_at;
  // A later load holds from this day on; from its own first day or earlier: it never holds again.
  // None while it holds on all its days: a later load that starts after its last day ends nothing.
  std::optional<Day> replaced_from;
  bool HoldsOn(Day day) const;
  bool operator==(const HeldQuote&) const = default;
};

class QuoteBook {
 public:
  QuoteBook() = default;
  QuoteBook(const QuoteBook& other);
  QuoteBook& operator=(QuoteBook other) {
    quotes_.swap(other.quotes_);
    by_destination_.swap(other.by_destination_);
    return *this;
  }

  // Of each key, the earliest day in `quotes` ends what earlier loads said from that day on. What
  // was ended does not come back when the later quote has run out.
  // REQUIRES: quotes of one key do not overlap (FindOverlap).
  void Load(const std::vector<Quote>& quotes, Instant loaded_at);

  // What holds for an order of `units` on `day`. Looked for in this order: item and service both
  // named; the item, any service; any item, the service; neither. Of several minimum_units the
  // highest that fits. Null when none holds.
  const HeldQuote* Find(const std::string& supplier, const std::string& item, const Lane& lane,
                        int64_t units, Day day) const;

  // The same quote was loaded and holds on all its days still, so that it need not be loaded again.
  bool Holds(const Quote& quote) const;

  // By key; of one key as they were loaded.
  const std::map<QuoteKey, std::vector<HeldQuote>>& all() const { return quotes_; }

  // The quotes to `destination` that hold for an order of `units` of the item on `day`: of each
  // supplier and lane as quoted the one that Find prefers. Ascending by supplier and lane.
  std::vector<const HeldQuote*> OffersTo(const std::string& destination, const std::string& item,
                                         int64_t units, Day day) const;
  // What Find says of such an order, among its offers.
  static const HeldQuote* FindAmong(std::span<const HeldQuote* const> offers,
                                    const std::string& supplier, const Lane& lane);

 private:
  using Quotes = std::map<QuoteKey, std::vector<HeldQuote>>;
  void Index(const Quotes::value_type& quotes);

  Quotes quotes_;
  // By (destination, item), for OffersTo: places in quotes_, ascending.
  std::map<std::pair<std::string, std::string>, std::vector<const Quotes::value_type*>>
      by_destination_;
};

// The positions of two quotes of one key whose days overlap; none when there are none.
std::optional<std::pair<size_t, size_t>> FindOverlap(const std::vector<Quote>& quotes);

}  // namespace plumblane
