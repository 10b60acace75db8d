// Quotes: which one holds on a day, what replaces what, and a naive model on random loads.
#include "agreements/quotes.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <set>
#include <tuple>

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

struct Offer {
  std::string supplier;
  Lane lane;
  auto operator<=>(const Offer&) const = default;
};

std::vector<Offer> PlacesOf(const std::vector<const HeldQuote*>& offers) {
  std::vector<Offer> places;
  for (const HeldQuote* offer : offers) {
    places.push_back({offer->quote.key.supplier, offer->quote.key.lane});
  }
  return places;
}

const Lane kExpress{"VN", "DE", "express"};
const Lane kAnyService{"VN", "DE", ""};

// A quote of the supplier lotus for a kettle from day 0 on, with what differs.
struct Of {
  std::string item = "kettle";
  Lane lane = kExpress;
  int64_t minimum_units = 1;
  int from = 0;
  std::optional<int> until = {};
  std::string supplier = "lotus";
};

Quote Asks(int64_t price, const Of& of = {}) {
  Quote quote{{of.supplier, of.item, of.lane, of.minimum_units}, {price, "EUR"}, 0, 0, {}, {}, {}};
  quote.valid_from = Day{of.from};
  if (of.until) quote.valid_until = Day{*of.until};
  return quote;
}

class Quotes : public ::testing::Test {
 protected:
  void Load(const std::vector<Quote>& quotes) { book_.Load(quotes, Instant{++loads_}); }

  // The price of an order of a kettle by express; 0 when no quote holds.
  int64_t PriceOn(int day, int64_t units = 1, const std::string& item = "kettle",
                  const Lane& lane = kExpress) const {
    const HeldQuote* held = book_.Find("lotus", item, lane, units, Day{day});
    return held == nullptr ? 0 : held->quote.price.minor_units;
  }
  // Those prices day by day.
  std::vector<int64_t> PricesOn(const std::vector<int>& days) const {
    std::vector<int64_t> prices;
    for (const int day : days) prices.push_back(PriceOn(day));
    return prices;
  }

  QuoteBook book_;
  int64_t loads_ = 0;
};

TEST(LandedPrice, IsPriceAndDutyByUnitAndFreightByOrder) {
  Quote quote = Asks(1'250);
  quote.freight = 900;
  quote.duty = 75;
  EXPECT_EQ(LandedPrice(quote, 1), (Money{2'225, "EUR"}));
  EXPECT_EQ(LandedPrice(quote, 4), (Money{6'200, "EUR"}));
}

TEST(LandedPrice, IsNoneBeyondTheLargestAmount) {
  EXPECT_EQ(LandedPrice(Asks(kMaxMinorUnits), 1)->minor_units, kMaxMinorUnits);
  EXPECT_EQ(LandedPrice(Asks(3), kMaxMinorUnits / 3)->minor_units, 9'999'999'999);
  EXPECT_EQ(LandedPrice(Asks(3), kMaxMinorUnits / 3 + 1), std::nullopt);
  EXPECT_EQ(LandedPrice(Asks(2), INT64_MAX), std::nullopt);
  EXPECT_EQ(LandedPrice(Asks(0), INT64_MAX)->minor_units, 0);
  Quote quote = Asks(kMaxMinorUnits - 10);
  quote.freight = 10;
  EXPECT_EQ(LandedPrice(quote, 1)->minor_units, kMaxMinorUnits);
  quote.duty = 1;
  EXPECT_EQ(LandedPrice(quote, 1), std::nullopt);
}

TEST_F(Quotes, AnItemsOwnQuoteComesBeforeAServicesOwn) {
  // From the last one looked for to the first.
  EXPECT_EQ(PriceOn(0), 0);
  Load({Asks(400, {.item = "", .lane = kAnyService})});
  EXPECT_EQ(PriceOn(0), 400);
  Load({Asks(300, {.item = "", .lane = kExpress})});
  EXPECT_EQ(PriceOn(0), 300);
  Load({Asks(200, {.item = "kettle", .lane = kAnyService})});
  EXPECT_EQ(PriceOn(0), 200);
  Load({Asks(100, {.item = "kettle", .lane = kExpress})});
  EXPECT_EQ(PriceOn(0), 100);
  // Other items and services.
  EXPECT_EQ(PriceOn(0, 1, "teapot"), 300);
  EXPECT_EQ(PriceOn(0, 1, "teapot", kAnyService), 400);
  EXPECT_EQ(PriceOn(0, 1, "kettle", {"VN", "DE", "sea"}), 200);
  EXPECT_EQ(PriceOn(0, 1, "kettle", kAnyService), 200);
  EXPECT_EQ(PriceOn(0, 1, "", kAnyService), 400);
  // Other lanes and suppliers.
  EXPECT_EQ(PriceOn(0, 1, "kettle", {"VN", "SE", "express"}), 0);
  EXPECT_EQ(PriceOn(0, 1, "kettle", {"TR", "DE", "express"}), 0);
  EXPECT_EQ(book_.Find("amber", "kettle", kExpress, 1, Day{0}), nullptr);
}

TEST_F(Quotes, AQuoteForOneServiceOnlyIsNoneForOrdersWithout) {
  Load({Asks(100)});
  EXPECT_EQ(PriceOn(0, 1, "kettle", kAnyService), 0);
}

TEST_F(Quotes, TheHighestMinimumThatFitsCounts) {
  Load({Asks(90, {.minimum_units = 10}), Asks(100), Asks(80, {.minimum_units = 100}),
        Asks(85, {.minimum_units = 100, .from = 5})});
  EXPECT_EQ(PriceOn(0, 1), 100);
  EXPECT_EQ(PriceOn(0, 9), 100);
  EXPECT_EQ(PriceOn(0, 10), 90);
  EXPECT_EQ(PriceOn(0, 99), 90);
}

TEST_F(Quotes, WhatDoesNotHoldOnTheDayLeavesTheNextOneInItsPlace) {
  Load({Asks(400, {.item = "", .lane = kAnyService}),
        Asks(100, {.minimum_units = 5, .from = 10, .until = 19}),
        Asks(150, {.from = 15, .until = 24})});
  EXPECT_EQ(PriceOn(9, 5), 400);
  EXPECT_EQ(PriceOn(10, 5), 100);
  EXPECT_EQ(PriceOn(10, 4), 400);
  EXPECT_EQ(PriceOn(19, 5), 100);
  EXPECT_EQ(PriceOn(20, 5), 150);
  EXPECT_EQ(PriceOn(25, 5), 400);
}

TEST_F(Quotes, AMinimumOfASpecialQuoteDoesNotHideAGeneralOne) {
  Load({Asks(90, {.minimum_units = 10}), Asks(400, {.item = ""})});
  EXPECT_EQ(PriceOn(0, 9), 400);
}

TEST_F(Quotes, AQuoteHoldsFromItsFirstDayToItsLast) {
  Load({Asks(100, {.from = 10, .until = 20}), Asks(200, {.from = 22})});
  EXPECT_THAT(PricesOn({9, 10, 20, 21, 22, 20'000}), ElementsAre(0, 100, 100, 0, 200, 200));
}

TEST_F(Quotes, ALaterLoadThatStartsLaterEndsTheEarlierOnThatDay) {
  Load({Asks(100)});
  Load({Asks(200, {.from = 10})});
  EXPECT_THAT(PricesOn({0, 9, 10, 11}), ElementsAre(100, 100, 200, 200));
  const std::vector<HeldQuote>& held = book_.all().at(Asks(0).key);
  EXPECT_EQ(held[0].replaced_from, Day{10});
  EXPECT_TRUE(held[0].HoldsOn(Day{9}));
  EXPECT_FALSE(held[0].HoldsOn(Day{10}));
  EXPECT_EQ(held[0].loaded_at, Instant{1});
  EXPECT_EQ(held[1].replaced_from, std::nullopt);
  EXPECT_EQ(held[1].loaded_at, Instant{2});
}

TEST_F(Quotes, ALaterLoadThatStartsNoLaterReplacesForGood) {
  for (const int from : {5, 10}) {
    book_ = {};
    Load({Asks(100, {.from = 10})});
    Load({Asks(200, {.from = from, .until = 12})});
    EXPECT_THAT(PricesOn({from, 10, 12, 13, 400}), ElementsAre(200, 200, 200, 0, 0));
  }
}

TEST_F(Quotes, TheGapAfterALaterQuotesEndStaysAGap) {
  Load({Asks(100)});
  Load({Asks(200, {.from = 10, .until = 19})});
  EXPECT_THAT(PricesOn({9, 10, 19, 20, 400}), ElementsAre(100, 200, 200, 0, 0));
  Load({Asks(300, {.from = 30})});
  EXPECT_THAT(PricesOn({9, 19, 20, 29, 30}), ElementsAre(100, 200, 0, 0, 300));
}

TEST_F(Quotes, AThirdLoadMayStartBeforeTheSecond) {
  Load({Asks(100)});
  Load({Asks(200, {.from = 20})});
  Load({Asks(300, {.from = 10})});
  EXPECT_THAT(PricesOn({9, 10, 20, 30}), ElementsAre(100, 300, 300, 300));
  EXPECT_EQ(book_.all().at(Asks(0).key)[0].replaced_from, Day{10});
  EXPECT_EQ(book_.all().at(Asks(0).key)[1].replaced_from, Day{10});
}

TEST_F(Quotes, RowsOfOneLoadDoNotReplaceEachOther) {
  Load({Asks(50)});
  Load({Asks(200, {.from = 20}), Asks(100, {.from = 10, .until = 14})});
  EXPECT_THAT(PricesOn({9, 10, 14, 15, 19, 20}), ElementsAre(50, 100, 100, 0, 0, 200));
}

TEST_F(Quotes, AnotherKeyIsNotReplaced) {
  Load({Asks(100), Asks(90, {.minimum_units = 10})});
  Load({Asks(110)});
  EXPECT_EQ(PriceOn(0, 1), 110);
  EXPECT_EQ(PriceOn(0, 10), 90);
}

TEST_F(Quotes, WhatHadExpiredBeforeIsNotSaidToBeReplaced) {
  Load({Asks(100, {.until = 9})});
  Load({Asks(200, {.from = 10})});
  EXPECT_EQ(book_.all().at(Asks(0).key)[0].replaced_from, std::nullopt);
  Load({Asks(300, {.from = 9})});
  EXPECT_EQ(book_.all().at(Asks(0).key)[0].replaced_from, Day{9});
}

TEST_F(Quotes, HoldsWhatIsLoadedEqualAndNotCutShort) {
  const Quote early = Asks(100, {.until = 9}), late = Asks(200, {.from = 10});
  Load({early, late});
  EXPECT_TRUE(book_.Holds(early));
  EXPECT_TRUE(book_.Holds(late));
  Quote other = late;
  other.duty = 1;
  EXPECT_FALSE(book_.Holds(other));
  other = late;
  other.promise = PromisedDays{0, 8, false};
  EXPECT_FALSE(book_.Holds(other));
  other = late;
  other.key.lane.service = "";
  EXPECT_FALSE(book_.Holds(other));
  Load({Asks(300, {.from = 20})});
  EXPECT_TRUE(book_.Holds(early));
  EXPECT_FALSE(book_.Holds(late));
  Load({late});
  EXPECT_TRUE(book_.Holds(late));
  EXPECT_EQ(PriceOn(20), 200);
}

TEST_F(Quotes, OffersAreThePairsAsQuotedOnce) {
  const Lane from_turkey{"TR", "DE", ""}, to_sweden{"VN", "SE", ""};
  Load({Asks(100), Asks(90, {.minimum_units = 10}), Asks(400, {.item = ""}),
        Asks(100, {.lane = kAnyService, .supplier = "copper"}),
        Asks(100, {.item = "", .lane = from_turkey, .supplier = "amber"}),
        Asks(100, {.item = "teapot", .supplier = "basil"}),
        Asks(100, {.lane = to_sweden, .supplier = "birch"}),
        Asks(100, {.minimum_units = 2, .supplier = "coral"}),
        Asks(100, {.until = 9, .supplier = "delta"}),
        Asks(100, {.from = 11, .supplier = "ember"})});
  EXPECT_THAT(PlacesOf(book_.OffersTo("DE", "kettle", 1, Day{10})),
              ElementsAre(Offer{"amber", from_turkey}, Offer{"copper", kAnyService},
                          Offer{"lotus", kExpress}));
  EXPECT_THAT(PlacesOf(book_.OffersTo("DE", "", 1, Day{10})),
              ElementsAre(Offer{"amber", from_turkey}, Offer{"lotus", kExpress}));
  EXPECT_THAT(PlacesOf(book_.OffersTo("SE", "kettle", 1, Day{10})),
              ElementsAre(Offer{"birch", to_sweden}));
  EXPECT_THAT(PlacesOf(book_.OffersTo("SE", "teapot", 1, Day{10})), IsEmpty());
  EXPECT_THAT(PlacesOf(book_.OffersTo("NZ", "kettle", 1, Day{10})), IsEmpty());
}

TEST(Overlap, IsFoundWithinOneKeyOnly) {
  const auto overlap = [](const std::vector<Quote>& quotes) { return FindOverlap(quotes); };
  const auto positions = [](size_t a, size_t b) { return std::optional(std::pair(a, b)); };
  EXPECT_EQ(overlap({}), std::nullopt);
  EXPECT_EQ(overlap({Asks(1), Asks(1, {.minimum_units = 2}), Asks(1, {.lane = kAnyService})}),
            std::nullopt);
  EXPECT_EQ(overlap({Asks(1, {.from = 10}), Asks(1, {.until = 9})}), std::nullopt);
  EXPECT_EQ(overlap({Asks(1, {.from = 9}), Asks(1, {.item = "teapot"}), Asks(1, {.until = 9})}),
            positions(0, 2));
  EXPECT_EQ(overlap({Asks(1), Asks(1)}), positions(0, 1));
  EXPECT_EQ(overlap({Asks(1), Asks(1, {.from = 400})}), positions(0, 1));
}

// All loads as they came; asked, it reads them from the last to the first.
class NaiveBook {
 public:
  void Load(const std::vector<Quote>& quotes) { loads_.push_back(quotes); }

  // The last load with a quote of the key that starts by the day has the say, also to say nothing.
  const Quote* OfKey(const QuoteKey& key, Day day) const {
    for (auto load = loads_.rbegin(); load != loads_.rend(); ++load) {
      bool has_the_say = false;
      for (const Quote& quote : *load) {
        if (quote.key != key || day < quote.valid_from) continue;
        has_the_say = true;
        if (!quote.valid_until || day <= *quote.valid_until) return &quote;
      }
      if (has_the_say) return nullptr;
    }
    return nullptr;
  }

  const Quote* Find(const std::string& supplier, const std::string& item, const Lane& lane,
                    int64_t units, Day day) const {
    const Quote* best = nullptr;
    const auto rank = [](const Quote& quote) {
      return std::tuple(!quote.key.item.empty(), !quote.key.lane.service.empty(),
                        quote.key.minimum_units);
    };
    for (const QuoteKey& key : Keys()) {
      const bool fits = key.supplier == supplier && (key.item == item || key.item.empty()) &&
                        key.lane.origin == lane.origin &&
                        key.lane.destination == lane.destination &&
                        (key.lane.service == lane.service || key.lane.service.empty()) &&
                        key.minimum_units <= units;
      const Quote* quote = fits ? OfKey(key, day) : nullptr;
      if (quote != nullptr && (best == nullptr || rank(*best) < rank(*quote))) best = quote;
    }
    return best;
  }

  bool Holds(const Quote& quote, Day horizon) const {
    for (Day day = quote.valid_from; day <= quote.valid_until.value_or(horizon); day = day + 1) {
      const Quote* held = OfKey(quote.key, day);
      if (held == nullptr || *held != quote) return false;
    }
    return true;
  }

  std::vector<Offer> OffersTo(const std::string& destination, const std::string& item,
                              int64_t units, Day day) const {
    std::set<Offer> offers;
    for (const QuoteKey& key : Keys()) {
      if (key.lane.destination == destination && (key.item == item || key.item.empty()) &&
          key.minimum_units <= units && OfKey(key, day) != nullptr) {
        offers.insert({key.supplier, key.lane});
      }
    }
    return {offers.begin(), offers.end()};
  }

 private:
  std::set<QuoteKey> Keys() const {
    std::set<QuoteKey> keys;
    for (const auto& load : loads_) {
      for (const Quote& quote : load) keys.insert(quote.key);
    }
    return keys;
  }

  std::vector<std::vector<Quote>> loads_;
};

class RandomQuotes {
 public:
  explicit RandomQuotes(uint64_t seed) : random_(seed) {}

  int Below(int bound) { return static_cast<int>(random_() % static_cast<uint64_t>(bound)); }
  std::string Supplier() { return Below(2) == 0 ? "amber" : "lotus"; }
  std::string Item() { return Below(3) == 0 ? "" : Below(2) == 0 ? "kettle" : "teapot"; }
  Lane AnyLane() { return {"VN", Below(3) == 0 ? "SE" : "DE", Below(2) == 0 ? "" : "express"}; }
  Quote Next() {
    Of of{Item(), AnyLane(), Below(2) == 0 ? 1 : 10, Below(40), {}, Supplier()};
    if (Below(2) == 0) of.until = of.from + Below(20);
    return Asks(1 + Below(3), of);
  }
  // Without overlap.
  std::vector<Quote> Load() {
    std::vector<Quote> load;
    for (int i = 1 + Below(20); i > 0; --i) {
      load.push_back(Next());
      if (FindOverlap(load)) load.pop_back();
    }
    return load;
  }

 private:
  std::mt19937_64 random_;
};

TEST(QuoteModel, SaysTheSameOnRandomLoads) {
  constexpr Day kHorizon{70};
  int held_count = 0, none_count = 0, again_count = 0;
  for (uint64_t seed = 0; seed < 40; ++seed) {
    RandomQuotes random(seed);
    QuoteBook book;
    NaiveBook naive;
    for (int load = 0; load < 12; ++load) {
      const std::vector<Quote> quotes = random.Load();
      book.Load(quotes, Instant{load});
      naive.Load(quotes);
      for (int question = 0; question < 40; ++question) {
        const std::string supplier = random.Supplier(), item = random.Item();
        const Lane lane = random.AnyLane();
        const int64_t units = random.Below(2) == 0 ? 9 : 10;
        const Day day{random.Below(kHorizon.number)};
        const HeldQuote* held = book.Find(supplier, item, lane, units, day);
        const Quote* expected = naive.Find(supplier, item, lane, units, day);
        ASSERT_EQ(held != nullptr, expected != nullptr) << "seed " << seed << " load " << load;
        if (held != nullptr) {
          ASSERT_EQ(held->quote, *expected) << "seed " << seed;
        }
        ASSERT_EQ(
            QuoteBook::FindAmong(book.OffersTo(lane.destination, item, units, day), supplier, lane),
            held);
        ++(held != nullptr ? held_count : none_count);
        const QuoteBook copy = book;
        ASSERT_EQ(PlacesOf(copy.OffersTo(lane.destination, item, units, day)),
                  naive.OffersTo(lane.destination, item, units, day));
      }
      for (const auto& [key, all] : book.all()) {
        for (const HeldQuote& one : all) {
          ASSERT_EQ(book.Holds(one.quote), naive.Holds(one.quote, kHorizon)) << "seed " << seed;
          again_count += book.Holds(one.quote);
        }
      }
    }
  }
  // The questions were not all of one kind.
  EXPECT_GT(held_count, 4'000);
  EXPECT_GT(none_count, 2'000);
  EXPECT_GT(again_count, 1'000);
}

TEST(QuoteModel, FindsAnOverlapWhereTwoQuotesOfOneKeyHaveADayInCommon) {
  int found_count = 0;
  for (uint64_t seed = 0; seed < 2'000; ++seed) {
    RandomQuotes random(seed);
    std::vector<Quote> quotes(static_cast<size_t>(random.Below(12)));
    std::generate(quotes.begin(), quotes.end(), [&] { return random.Next(); });
    std::set<std::pair<size_t, size_t>> overlaps;
    for (size_t b = 0; b < quotes.size(); ++b) {
      for (size_t a = 0; a < b; ++a) {
        const HeldQuote one{quotes[a], {}, {}}, other{quotes[b], {}, {}};
        for (Day day{0}; day < Day{70}; day = day + 1) {
          const bool both = one.HoldsOn(day) && other.HoldsOn(day);
          if (both && quotes[a].key == quotes[b].key) overlaps.emplace(a, b);
        }
      }
    }
    const auto found = FindOverlap(quotes);
    ASSERT_EQ(found.has_value(), !overlaps.empty()) << "seed " << seed;
    if (found) {
      ASSERT_TRUE(overlaps.contains(*found)) << "seed " << seed;
    }
    found_count += found.has_value();
  }
  EXPECT_GT(found_count, 200);
  EXPECT_LT(found_count, 1'800);
}

}  // namespace
}  // namespace plumblane
