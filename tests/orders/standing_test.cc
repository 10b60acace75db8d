// Overdue, given up, and what there is to claim: one order at a time.
#include "orders/standing.h"

#include <gtest/gtest.h>

#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;

OrderBuilder Order() { return std::move(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10")); }
PartState One(const OrderBuilder& order) { return order.Fold().parts.at(0); }
OrderBuilder& Claiming(OrderBuilder& order, int64_t cents) {
  return order.With([&](Event& event) { event.claim = Money{cents, "EUR"}; });
}
OrderBuilder& Returning(OrderBuilder& order, int64_t cents, const std::string& currency = "EUR") {
  return order.With([&](Event& event) { event.refund = Money{cents, currency}; });
}

TEST(Standing, OverdueOnceThePromisedDayIsOver) {
  const PartState part = One(Order());
  EXPECT_FALSE(IsOverdue(part, EndOf(On("2026-03-10")) - 1));
  EXPECT_TRUE(IsOverdue(part, EndOf(On("2026-03-10"))));
  EXPECT_FALSE(IsOverdue(One(OrderBuilder().Paid("2026-03-01")), At("2027-01-01"))) << "no promise";
  OrderBuilder paid_late;
  paid_late.Shipped("2026-03-01").Promised("2026-03-10").Paid("2026-03-20");
  EXPECT_FALSE(IsOverdue(One(paid_late), EndOf(On("2026-03-20")) - 1));
  EXPECT_TRUE(IsOverdue(One(paid_late), EndOf(On("2026-03-20"))));
}

TEST(Standing, GivenUpOnceTheDayOfItsLossIsOver) {
  const PartState part = One(Order());
  EXPECT_FALSE(IsGivenUp(part, {}, EndOf(On("2026-04-09")) - 1));
  EXPECT_TRUE(IsGivenUp(part, {}, EndOf(On("2026-04-09"))));
  EXPECT_TRUE(IsGivenUp(part, {.lost_after_days = 3}, EndOf(On("2026-03-13"))));
  EXPECT_FALSE(IsGivenUp(One(OrderBuilder().Paid("2026-03-01")), {}, At("2027-01-01")));
}

struct ClaimCase {
  const char* what;
  OrderBuilder order;
  ClaimStanding standing;
  std::optional<int64_t> owed;  // EUR cents
};

TEST(Standing, OfClaims) {
  const auto disputed = [](int64_t cents) {
    OrderBuilder order = Order();
    order.Delivered("2026-03-08").Disputed("2026-03-12", Reason::kQuality);
    if (cents > 0) Claiming(order, cents);
    return order;
  };
  OrderBuilder in_full = disputed(500), in_part = disputed(500), elsewhere = disputed(500),
               by_shop = disputed(500), before = disputed(500), refused = disputed(500);
  Returning(in_full.Refunded("2026-03-15"), 300);
  Returning(in_full.Refunded("2026-03-16"), 250);
  Returning(in_part.Refunded("2026-03-15"), 300);
  Returning(elsewhere.Refunded("2026-03-15"), 900, "USD");
  Returning(by_shop.Refunded("2026-03-15", Reason::kNone, true), 500);
  Returning(before.Refunded("2026-03-11"), 500);
  refused.Answered("2026-03-14");
  const ClaimCase cases[] = {
      {"in time", Order().Delivered("2026-03-08"), ClaimStanding::kNone, {}},
      {"under way", Order(), ClaimStanding::kNone, {}},
      {"delivered late", Order().Delivered("2026-03-12"), ClaimStanding::kUnclaimed, {}},
      {"late and refunded by the shop",
       Order().Delivered("2026-03-12").Refunded("2026-03-13", Reason::kLate, true),
       ClaimStanding::kUnclaimed,
       {}},
      {"late and refunded by the supplier",
       Order().Delivered("2026-03-12").Refunded("2026-03-13"),
       ClaimStanding::kNone,
       {}},
      {"late and cancelled",
       Order().Delivered("2026-03-12").Cancelled("2026-03-13"),
       ClaimStanding::kNone,
       {}},
      {"late, refused at the door",
       Order().Delivered("2026-03-12").Refunded("2026-03-13", Reason::kRefused, true),
       ClaimStanding::kNone,
       {}},
      {"late without promise",
       OrderBuilder().Paid("2026-03-01").Delivered("2026-05-12"),
       ClaimStanding::kNone,
       {}},
      {"bad, told by the shop's refund",
       Order().Delivered("2026-03-08").Refunded("2026-03-13", Reason::kDamaged, true),
       ClaimStanding::kUnclaimed,
       {}},
      {"disliked",
       Order().Delivered("2026-03-08").Refunded("2026-03-13", Reason::kChangedMind, true),
       ClaimStanding::kNone,
       {}},
      {"disputed", disputed(500), ClaimStanding::kUnanswered, 500},
      {"disputed without money", disputed(0), ClaimStanding::kUnanswered, {}},
      {"answered without money", disputed(0).Answered("2026-03-14"), ClaimStanding::kSettled, {}},
      {"answered", refused, ClaimStanding::kOwed, 500},
      {"back in full", in_full, ClaimStanding::kSettled, 0},
      {"back in part", in_part, ClaimStanding::kOwed, 200},
      {"back in another currency", elsewhere, ClaimStanding::kOwed, 500},
      {"only the shop has paid", by_shop, ClaimStanding::kUnanswered, 500},
      {"back before it was claimed", before, ClaimStanding::kSettled, 0},
      {"the claim retracted",
       disputed(500).Retracted("2026-03-13", "e3"),
       ClaimStanding::kNone,
       {}},
  };
  for (const ClaimCase& one : cases) {
    const PartState part = One(one.order);
    EXPECT_EQ(ClaimStandingOf(part), one.standing) << one.what;
    const std::optional<Money> owed = OwedBySupplier(part);
    EXPECT_EQ(owed, one.owed ? std::optional(Money{*one.owed, "EUR"}) : std::nullopt) << one.what;
  }
}

TEST(Standing, WhatIsUnclaimedHasAReasonAndADayToCountFrom) {
  const auto of = [](const OrderBuilder& order) { return UnclaimedOf(One(order)); };
  EXPECT_EQ(of(Order().Delivered("2026-03-12T08:00")),
            (Unclaimed{Reason::kLate, On("2026-03-12")}));
  EXPECT_EQ(of(Order().Delivered("2026-03-12").Refunded("2026-03-14", Reason::kWrongItem, true)),
            (Unclaimed{Reason::kWrongItem, On("2026-03-12")}))
      << "a defect goes before late";
  EXPECT_EQ(of(Order().Refunded("2026-03-14", Reason::kLost, true)),
            (Unclaimed{Reason::kLost, On("2026-03-10")}));
  EXPECT_EQ(of(OrderBuilder().Paid("2026-03-01").Refunded("2026-03-14", Reason::kUnsafe, true)),
            (Unclaimed{Reason::kUnsafe, On("2026-03-14")}));
}

TEST(Standing, AToleranceMovesWhatIsLate) {
  const OrderBuilder order = Order().Delivered("2026-03-11T06:00");
  EXPECT_TRUE(UnclaimedOf(order.Fold().parts[0]));
  EXPECT_FALSE(UnclaimedOf(order.Fold({30, 12 * 3'600'000}).parts[0]));
}

TEST(Standing, AnExcuseLeavesLatenessUnclaimedButNotADefect) {
  ExcuseBook excuses;
  excuses.Put({"strike", ExcusedOrder{{"default", "1"}, 1}, "port strike", false});
  const auto of = [&](const OrderBuilder& order) {
    return ClaimStandingOf(order.Fold({}, excuses).parts.at(0));
  };
  EXPECT_EQ(of(Order().Delivered("2026-03-12")), ClaimStanding::kNone);
  EXPECT_EQ(of(Order().Delivered("2026-03-12").Refunded("2026-03-14", Reason::kDamaged, true)),
            ClaimStanding::kUnclaimed);
}

}  // namespace
}  // namespace plumblane
