// What an order's amounts add to the cohorts: sums by currency, the comparison with quotes, and
// what is at risk while it is under way.
#include <absl/strings/str_join.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "orders/entry_words.h"
#include "orders/fold.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::In;
using test::OrderBuilder;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

OrderBuilder Bare() { return OrderBuilder().Paid("2026-03-01"); }
OrderBuilder Started() { return Bare().Promised("2026-03-10"); }

Event& Sum(Event& event, std::optional<Money> Event::*field, int64_t cents) {
  event.*field = Money{cents, "EUR"};
  return event;
}

TEST(FoldMoney, RefundsSumAndOtherAmountsComeFromTheEarliest) {
  OrderBuilder order;
  order.Paid("2026-03-01").With([](Event& e) {
    Sum(Sum(e, &Event::cost, 1000), &Event::sale, 2500);
  });
  order.Disputed("2026-03-05").With([](Event& e) { Sum(e, &Event::claim, 900); });
  order.Disputed("2026-03-06").With([](Event& e) { Sum(e, &Event::claim, 800); });
  order.Refunded("2026-03-07").With([](Event& e) { Sum(e, &Event::refund, 300); });
  order.Refunded("2026-03-08").With([](Event& e) { Sum(e, &Event::refund, 200); });
  order.Refunded("2026-03-08", Reason::kNone, true).With([](Event& e) {
    Sum(e, &Event::refund, 2500);
  });
  EXPECT_THAT(In(Measure::kMoney, order.Fold()),
              ElementsAre("money 2026-03-01 cost=1000 sale=2500 refund=500 shop-refund=2500 "
                          "claim=900"));
}

TEST(FoldMoney, TheCostOfAReplacementCountsWithTheFirstPart) {
  OrderBuilder order;
  order.Paid("2026-03-01").With([](Event& e) { Sum(e, &Event::cost, 1000); });
  order.Part(2).Paid("2026-03-20").With([](Event& e) { Sum(e, &Event::cost, 700).replaces = 1; });
  order.Part(3).Paid("2026-04-20").With([](Event& e) { Sum(e, &Event::cost, 600).replaces = 2; });
  const OrderState state = order.Fold();
  EXPECT_THAT(In(Measure::kMoney, state, 0),
              ElementsAre("money 2026-03-01 cost=1000 replacement=1300"));
  EXPECT_THAT(In(Measure::kMoney, state, 1), ElementsAre("money 2026-03-20"));
}

TEST(FoldMoney, TheCostOfAReplacementOfAnUnknownPartStaysItsOwn) {
  OrderBuilder order;
  order.Part(2).Paid("2026-03-20").With([](Event& e) { Sum(e, &Event::cost, 700).replaces = 1; });
  const OrderState state = order.Fold();
  EXPECT_THAT(In(Measure::kMoney, state), ElementsAre("money 2026-03-20 cost=700"));
  EXPECT_THAT(state.parts[0].faults, ElementsAre(Fault::kReplacesUnknownPart));
}

TEST(FoldMoney, WhatWasChargedIsComparedWithTheQuoteInTheSameCurrencyOnly) {
  const auto money = [](Money cost, Money quoted) {
    OrderBuilder order;
    order.Paid("2026-03-01").With([&](Event& e) { e.cost = cost, e.quoted = quoted; });
    return In(Measure::kMoney, order.Fold()).at(0);
  };
  EXPECT_EQ(money({1000, "EUR"}, {900, "EUR"}),
            "money 2026-03-01 cost=1000 quoted-orders=1 quoted-cost=1000 quoted=900");
  EXPECT_EQ(money({1000, "EUR"}, {900, "USD"}), "money 2026-03-01 cost=1000");
  // Of a price of nothing only the sums are left out.
  EXPECT_EQ(money({0, "EUR"}, {900, "EUR"}), "money 2026-03-01 quoted-orders=1 quoted=900");
  OrderBuilder unpriced;
  unpriced.Paid("2026-03-01").With([](Event& e) { Sum(e, &Event::quoted, 900); });
  EXPECT_THAT(In(Measure::kMoney, unpriced.Fold()), ElementsAre("money 2026-03-01"));
}

TEST(FoldMoney, TheQuoteOfTheEarliestEventThatHasOneCounts) {
  OrderBuilder order;
  order.Paid("2026-03-02").With([](Event& e) { Sum(e, &Event::quoted, 900); });
  order.Paid("2026-03-01").With([](Event& e) { Sum(e, &Event::cost, 1000); });
  EXPECT_EQ(order.Fold().parts[0].quoted, (Money{900, "EUR"}));
  order.Paid("2026-03-01").With([](Event& e) { Sum(e, &Event::quoted, 800); });
  EXPECT_EQ(order.Fold().parts[0].quoted, (Money{800, "EUR"}));
}

TEST(FoldMoney, AReplacementIsInNoComparisonWithItsQuote) {
  OrderBuilder order;
  order.Paid("2026-03-01").With([](Event& e) {
    Sum(Sum(e, &Event::cost, 1000), &Event::quoted, 900);
  });
  order.Part(2).Paid("2026-03-20").With([](Event& e) {
    Sum(Sum(e, &Event::cost, 700), &Event::quoted, 600).replaces = 1;
  });
  const OrderState state = order.Fold();
  EXPECT_THAT(In(Measure::kMoney, state, 0),
              ElementsAre("money 2026-03-01 cost=1000 quoted-orders=1 quoted-cost=1000 "
                          "quoted=900 replacement=700"));
  EXPECT_THAT(In(Measure::kMoney, state, 1), ElementsAre("money 2026-03-20"));
}

TEST(FoldMoney, MoneyIsExposedOnThePromisedDayUntilTheOrderIsClosed) {
  const auto exposed = [](const OrderBuilder& order) {
    return absl::StrJoin(In(Measure::kExposure, order.Fold()), ", ");
  };
  const auto costing = [](OrderBuilder order, int64_t cents) {
    return order.With([&](Event& e) { Sum(e, &Event::cost, cents); });
  };
  EXPECT_EQ(exposed(costing(Started(), 1000)), "exposure 2026-03-10 cost=1000");
  EXPECT_EQ(exposed(Started()), "exposure 2026-03-10");
  EXPECT_EQ(exposed(costing(Started(), 0)), "exposure 2026-03-10");
  // Without a counted promise it is never given up.
  EXPECT_EQ(exposed(costing(Bare(), 1000)), "exposure 9999-12-31 cost=1000");
  EXPECT_EQ(exposed(costing(Bare(), 1000).Shipped("2026-03-02").Disputed("2026-04-20")),
            "exposure 9999-12-31 cost=1000");
  EXPECT_EQ(exposed(costing(Started(), 1000).Delivered("2026-05-09")), "");
  EXPECT_EQ(exposed(costing(Started(), 1000).Cancelled("2026-03-02")), "");
  EXPECT_EQ(exposed(costing(Started(), 1000).Refunded("2026-03-09")), "");
  EXPECT_EQ(exposed(costing(Started(), 1000).Refunded("2026-03-09", Reason::kNone, true)),
            "exposure 2026-03-10 cost=1000");
  OrderBuilder unpaid;
  unpaid.Paid("2026-03-01").Promised("2026-03-10").With([](Event& e) {
    e.type = EventType::kShipped;
  });
  EXPECT_EQ(exposed(unpaid), "");
}

TEST(FoldMoney, AReplacementIsExposedByItsOwnCost) {
  OrderBuilder order = Started();
  order.Delivered("2026-03-09");
  order.Part(2).Paid("2026-03-20").With([](Event& e) { Sum(e, &Event::cost, 700).replaces = 1; });
  EXPECT_THAT(In(Measure::kExposure, order.Fold(), 0), IsEmpty());
  EXPECT_THAT(In(Measure::kExposure, order.Fold(), 1), ElementsAre("exposure 9999-12-31 cost=700"));
}

}  // namespace
}  // namespace plumblane
