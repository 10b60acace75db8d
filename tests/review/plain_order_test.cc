// What a plain order adds to the tally without being folded, against the fold.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <vector>

#include "review/order_tally.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

PlainOrder PlainOf(const PartState& part) {
  PlainOrder order{part.part,
                   part.supplier,
                   part.lane.origin,
                   part.lane.destination,
                   part.lane.service,
                   part.item,
                   part.promise,
                   part.paid,
                   part.shipped,
                   part.delivered,
                   {},
                   {}};
  if (part.cost) order.cost = {part.cost->minor_units, part.cost->currency};
  if (part.quoted) order.quoted = {part.quoted->minor_units, part.quoted->currency};
  return order;
}

bool AddsNothing(const OrderFigures& figures) {
  return figures.excuses.empty() && figures.costs == PeriodCosts{} &&
         std::all_of(figures.paid_for.begin(), figures.paid_for.end(),
                     [](const MoneySums& sums) { return sums.empty(); }) &&
         std::all_of(figures.in.begin(), figures.in.end(), [](const auto& one) {
           return one.out_of_stock == 0 && one.unsettled == 0 && one.money.empty();
         });
}

TEST(PlainOrderTest, AddsWhatTheFoldWould) {
  const Day first{20'010};
  const ReviewRules rules{.moment = {.now = StartOf(first + 40),
                                     .horizon = StartOf(first + 38),
                                     .underway_limit = first + 39},
                          .claim_window_days = 20,
                          .lost_after_days = 10};
  const Periods periods = {
      Period{first, first + 25}, {first - 26, first - 1}, {first - 365, first - 340}};
  const FoldRules fold{.lost_after_days = 10, .tolerance_millis = 3'600'000};
  std::map<OrderTally::Plain, int> seen;
  std::map<OrderKey, std::vector<Event>> orders;
  for (const auto& [order, event] : test::RandomOrders(5).Make(8'000)) {
    if (event.type > EventType::kDelivered || event.part == 2) continue;
    std::vector<Event>& events = orders[order];
    if (events.size() < 3) events.push_back(event);
    events.back().revision.reset();
  }
  for (auto& [order, events] : orders) {
    std::sort(events.begin(), events.end(), Earlier);
    const PartState part = Fold(order, events, fold, {}).parts.at(0);
    OrderTally tally(periods, rules, nullptr);
    const OrderTally::Plain plain = tally.LookAt(PlainOf(part), fold);
    ++seen[plain];
    if (plain == OrderTally::Plain::kMore) continue;
    tally.Add(order, events, part);
    OrderSums sums = tally.Take();
    EXPECT_TRUE(AddsNothing(sums.pairs.begin()->second));
    if (plain == OrderTally::Plain::kNothing) {
      EXPECT_TRUE(sums.items.empty());
      continue;
    }
    OrderTally quick(periods, rules, nullptr);
    quick.AddOnTime(part.supplier, part.item);
    const OrderSums told = quick.Take();
    ASSERT_EQ(sums.items.size(), 1);
    const ItemCount& item = sums.items.at(part.supplier).at(part.item);
    EXPECT_EQ(item.late, told.items.at(part.supplier).at(part.item).late);
    EXPECT_EQ(item.defect, told.items.at(part.supplier).at(part.item).defect);
  }
  for (const auto plain :
       {OrderTally::Plain::kNothing, OrderTally::Plain::kOnTime, OrderTally::Plain::kMore}) {
    EXPECT_GT(seen[plain], 50);
  }
}

}  // namespace
}  // namespace plumblane
