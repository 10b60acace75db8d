// Agreements are the sum of their loads, in order.
#include "agreements/agreements.h"

#include <gtest/gtest.h>

namespace plumblane {
namespace {

TEST(Agreements, EachLoadReachesItsBook) {
  Agreements agreements;
  const Quote quote{{"lotus", "", {"VN", "DE", ""}, 1}, {1'250, "EUR"}, 0, 0, {}, Day{5}, {}};
  Terms terms;
  terms.supplier = "lotus";
  agreements.Take(std::vector<Quote>{quote}, Instant{1});
  agreements.Take(std::vector<Terms>{terms}, Instant{2});
  agreements.Take(Pause{"lotus", true, {}, ""}, Instant{3});
  agreements.Take(std::vector<ExchangeRate>{{"EUR", "USD", 11, 1, Day{5}}}, Instant{4});
  agreements.Take(std::vector<Item>{{"kettle", "kitchen", "", ""}}, Instant{5});
  CostSettings costs;
  costs.currency = "EUR";
  agreements.Take(costs, Instant{6});

  EXPECT_TRUE(agreements.quotes.Holds(quote));
  EXPECT_EQ(agreements.quotes.all().at(quote.key)[0].loaded_at, Instant{1});
  EXPECT_EQ(*agreements.terms.Find("lotus"), (HeldTerms{terms, Instant{2}}));
  EXPECT_NE(agreements.terms.PausedOn("lotus", Day{5}), nullptr);
  EXPECT_EQ(agreements.exchange.Convert({10, "EUR"}, "USD", Day{5})->money, (Money{11, "USD"}));
  EXPECT_EQ(agreements.items.ClassOf("kettle"), "kitchen");
  EXPECT_EQ(agreements.costs, costs);
  EXPECT_EQ(agreements.costs_loaded_at, Instant{6});
}

TEST(Agreements, ACopyIsNotTouchedByLaterLoads) {
  Agreements before;
  const Quote quote{{"lotus", "", {"VN", "DE", ""}, 1}, {1'250, "EUR"}, 0, 0, {}, Day{5}, {}};
  before.Take(std::vector<Quote>{quote}, Instant{1});
  Agreements after = before;
  Quote dearer = quote;
  dearer.price.minor_units = 1'500;
  after.Take(std::vector<Quote>{dearer}, Instant{2});
  EXPECT_TRUE(before.quotes.Holds(quote));
  EXPECT_FALSE(after.quotes.Holds(quote));
  EXPECT_EQ(after.quotes.OffersTo("DE", "kettle", 1, Day{5}).size(), 1u);
}

}  // namespace
}  // namespace plumblane
