// What cells say of a period, from orders folded for it.
#include "review/figures.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <vector>

#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;

const Period kMarch{On("2026-03-01"), On("2026-03-31")};

ReviewRules RulesAt(const std::string& time) {
  return {{At(time), At(time), DayOf(At(time)) - 1}, 60, 30, false};
}

FiguresCount Count(const std::vector<OrderBuilder>& orders, const Period& period = kMarch,
                   const std::string& as_of = "2026-12-01") {
  Cells cells;
  for (const OrderBuilder& order : orders) {
    for (const PartState& part : order.Fold().parts) {
      for (const Entry& entry : part.entries) cells.Add(part.pair(), entry, 1);
    }
  }
  // Day by day into one of two counts, as sums over pairs are made.
  FiguresCount counts[2];
  for (const auto& [key, cell] : cells.map()) {
    if (key.pair.supplier.empty() || !period.Contains(key.day)) continue;
    counts[key.day.number % 2].Add(key.measure, key.day, cell, RulesAt(as_of));
  }
  counts[0].Add(counts[1]);
  return counts[0];
}

std::vector<TimesChange> Compared(const std::vector<OrderBuilder>& now,
                                  const std::vector<OrderBuilder>& then) {
  return Count(now).TimesAgainst(Count(then), Change::Against::kPeriodBefore, Scope::kCounted);
}

// Due on the 10th.
OrderBuilder Order(const std::string& shipped, const std::string& delivered) {
  OrderBuilder order;
  order.Paid("2026-03-01").Promised("2026-03-10");
  if (!shipped.empty()) order.Shipped(shipped);
  if (!delivered.empty()) order.Delivered(delivered);
  return order;
}

TEST(FiguresTest, OrdersCountByTheirOwnDay) {
  const std::vector<OrderBuilder> orders = {Order("2026-03-02", "2026-03-09"),
                                            Order("2026-03-02", "2026-03-14"),
                                            Order("2026-04-20", "2026-05-01")};
  const Figures march = Count(orders).Make(Scope::kCounted);
  EXPECT_EQ(march.order_count, 3);
  EXPECT_EQ(march.late, (HitCount{3, 2}));
  EXPECT_EQ(march.late_arrived, 2);
  EXPECT_EQ(march.days_late, 4 + 52);
  EXPECT_EQ(march.transit.entered_count, 2) << "the third was shipped in April";
  const Figures april = Count(orders, {On("2026-04-01"), On("2026-04-30")}).Make(Scope::kCounted);
  EXPECT_EQ(april.order_count, 0);
  EXPECT_EQ(april.late.orders, 0);
  EXPECT_EQ(april.transit.entered_count, 1);
}

TEST(FiguresTest, WhatIsNotKnownByTheMomentAskedIsNotThere) {
  const std::vector<OrderBuilder> orders = {Order("2026-03-02", "2026-03-14")};
  const auto as_of = [&](const std::string& time) {
    return Count(orders, kMarch, time).Make(Scope::kCounted);
  };
  EXPECT_EQ(as_of("2026-03-10").late.orders, 0) << "the promised day is not over";
  EXPECT_EQ(as_of("2026-03-11").late, (HitCount{1, 1}));
  EXPECT_EQ(as_of("2026-03-13").late_arrived, 0);
  EXPECT_EQ(as_of("2026-03-15").late_arrived, 1);
  EXPECT_EQ(as_of("2026-03-01").order_count, 0) << "paid on a day that does not count yet";
}

TEST(FiguresTest, DefectsAreMatureOnceTheClaimWindowIsOver) {
  OrderBuilder bad = Order("2026-03-02", "2026-03-09");
  bad.Disputed("2026-03-20", Reason::kDamaged);
  OrderBuilder too_late = Order("2026-03-02", "2026-03-09");
  too_late.Disputed("2026-05-20", Reason::kDamaged);  // 71 days
  const std::vector<OrderBuilder> orders = {bad, too_late, Order("2026-03-02", "2026-03-09")};
  const Figures young = Count(orders, kMarch, "2026-04-01").Make(Scope::kCounted);
  EXPECT_EQ(young.defect, (HitCount{3, 1}));
  EXPECT_EQ(young.immature(), 3);
  const Figures old = Count(orders).Make(Scope::kCounted);
  EXPECT_EQ(old.mature_defect, (HitCount{3, 1}));
  EXPECT_EQ(old.kinds[IndexOfKind(Code::kDamaged)], 1);
}

TEST(FiguresTest, ExcusedOrdersCountWhereTheyAreAskedFor) {
  OrderBuilder excused = Order("2026-03-02", "2026-03-14");
  excused.Disputed("2026-03-20", Reason::kWrongAddress);
  const std::vector<OrderBuilder> orders = {excused, Order("2026-03-02", "2026-03-09")};
  const Figures supplier = Count(orders).Make(Scope::kCounted);
  EXPECT_EQ(supplier.late, (HitCount{1, 0}));
  EXPECT_EQ(supplier.late_without_excuses, (HitCount{2, 1}));
  const Figures lane = Count(orders).Make(Scope::kWithExcused);
  EXPECT_EQ(lane.late, (HitCount{2, 1}));
  EXPECT_EQ(lane.late_without_excuses, std::nullopt);
}

TEST(FiguresTest, WithoutOrdersThereIsNothing) {
  const Figures figures = Count({}).Make(Scope::kCounted);
  EXPECT_EQ(figures, Figures());
  EXPECT_FALSE(figures.transit.median);
  EXPECT_THAT(Count({}).TransitCurve(Scope::kCounted), testing::IsEmpty());
  EXPECT_THAT(Compared({}, {}), testing::IsEmpty());
}

// ---- times against those before ---------------------------------------------------------------

// So many, shipped after so many days, travelling ten.
std::vector<OrderBuilder> Shipping(int count, int days, int travel_days = 7) {
  std::vector<OrderBuilder> orders;
  for (int i = 0; i < count; ++i) {
    const Day shipped = On("2026-03-01") + days + i % 2, arrived = shipped + travel_days;
    orders.push_back(Order(FormatDay(shipped), FormatDay(arrived)));
  }
  return orders;
}

const TimesChange* Find(const std::vector<TimesChange>& changes, TimesChange::What what) {
  for (const TimesChange& change : changes) {
    if (change.what == what) return &change;
  }
  return nullptr;
}

using What = TimesChange::What;

TEST(TimesAgainstTest, LongerTimesAreSeenAndEqualOnesAreNot) {
  const auto changes = Compared(Shipping(20, 4), Shipping(20, 1));
  const TimesChange *handling = Find(changes, What::kHandling),
                    *transit = Find(changes, What::kTransit);
  ASSERT_TRUE(handling != nullptr && transit != nullptr);
  EXPECT_EQ(handling->now, (TimesChange::Counts{20, 20}));
  ASSERT_TRUE(handling->comparison);
  EXPECT_TRUE(handling->comparison->longer);
  EXPECT_LT(handling->comparison->p_value, 1e-6);
  EXPECT_EQ(transit->comparison->p_value, 1);
  EXPECT_EQ(Find(changes, What::kResponse), nullptr) << "no claim, no answer";
  const auto back = Compared(Shipping(20, 1), Shipping(20, 4));
  EXPECT_FALSE(Find(back, What::kHandling)->comparison->longer);
}

TEST(TimesAgainstTest, TooFewAreNotCompared) {
  const struct {
    int now, then;
    bool compared;
  } rows[] = {{10, 10, true}, {9, 50, false}, {50, 9, false}, {0, 50, false}};
  for (const auto& row : rows) {
    const auto changes = Compared(Shipping(row.now, 4), Shipping(row.then, 1));
    const TimesChange* handling = Find(changes, What::kHandling);
    ASSERT_NE(handling, nullptr);
    EXPECT_EQ(handling->comparison.has_value(), row.compared) << row.now << ", " << row.then;
  }
  // Enough orders, of which none is known to have left.
  std::vector<OrderBuilder> waiting(20, Order("", ""));
  const auto changes = Compared(waiting, waiting);
  EXPECT_FALSE(Find(changes, What::kHandling)->comparison);
}

TEST(TimesAgainstTest, DaysLateAreOfLateOrdersAndThoseStillMissingAreNotFast) {
  // Delivered two days late; five; not at all.
  const std::vector<OrderBuilder> before(12, Order("2026-03-02", "2026-03-12"));
  std::vector<OrderBuilder> now(8, Order("2026-03-02", "2026-03-15"));
  for (int i = 0; i < 8; ++i) now.push_back(Order("2026-03-02", ""));
  now.push_back(Order("2026-03-02", "2026-03-09"));  // in time: of no matter here
  const auto changes = Compared(now, before);
  const TimesChange* days = Find(changes, What::kDaysLate);
  ASSERT_NE(days, nullptr);
  EXPECT_EQ(days->now, (TimesChange::Counts{16, 8}));
  EXPECT_EQ(days->then, (TimesChange::Counts{12, 12}));
  EXPECT_TRUE(days->comparison->longer);
  EXPECT_LT(days->comparison->p_value, 1e-5);
}

}  // namespace
}  // namespace plumblane
