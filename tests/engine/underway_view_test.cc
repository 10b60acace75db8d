// Orders under way, one by one: against a naive model on random orders and the counts that scores
// show, and by hand for what each order is told.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <set>

#include "orders/standing.h"
#include "support/look.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::FoldAll;
using test::KeyedEvent;
using test::LookAt;
using test::OrderBuilder;
using test::RandomOrders;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr size_t kAll = 100'000;

UnderwayAnswer All(const View& view, const UnderwayFilter& filter = {}) {
  auto answer = view.Underway(filter, {}, kAll);
  EXPECT_TRUE(answer.ok()) << answer.status();
  EXPECT_FALSE(answer->more);
  return *std::move(answer);
}

std::vector<std::string> Names(const std::vector<UnderwayOrder>& orders) {
  std::vector<std::string> names;
  for (const UnderwayOrder& one : orders) {
    names.push_back(FormatOrder(one.place.order, one.place.part));
  }
  return names;
}

struct Naive {
  std::set<std::string> underway, overdue;
  std::map<Pair, UnderwayTally> counts;  // orders and overdue only
};

// As design has it: paid, not delivered, not cancelled, not refunded by the supplier, not lost.
Naive NaiveUnderway(const std::vector<KeyedEvent>& events, Instant now) {
  Naive naive;
  const Instant horizon = now - kMillisPerDay;
  for (const auto& [order, state] : FoldAll(events)) {
    for (const PartState& part : state.parts) {
      if (!part.counts() || !part.paid || part.delivered || part.cancelled) continue;
      if (part.refunded_by_supplier) continue;
      std::optional<Instant> due;
      if (part.promise && part.promise->counted) due = part.promise->time;
      const auto over = [&](int days) {
        return due && EndOf(std::max(DayOf(*due) + days, DayOf(*part.paid))) <= horizon;
      };
      if (over(30)) continue;
      const std::string name = FormatOrder(order, part.part);
      naive.underway.insert(name);
      UnderwayTally& tally = naive.counts[{part.supplier, part.lane}];
      ++tally.orders;
      if (!over(0)) continue;
      ++tally.overdue;
      naive.overdue.insert(name);
    }
  }
  return naive;
}

std::vector<KeyedEvent> EventsBefore(Instant end, RandomOrders& random, int orders) {
  std::vector<KeyedEvent> events = random.Make(orders);
  std::erase_if(events, [&](const KeyedEvent& one) { return one.event.time >= end; });
  return events;
}

TEST(Underway, ListsWhatANaiveModelListsInWhateverOrderEventsCame) {
  int64_t listed = 0, overdue = 0, lost = 0;
  for (uint64_t seed = 1; seed <= 25; ++seed) {
    for (const int days : {25, 62, 100}) {
      const Instant now = StartOf(Day{20'000 + days}) + 3'600'000;
      RandomOrders random(seed);
      std::vector<KeyedEvent> events = EventsBefore(now, random, 80);
      AppliedState state, shuffled;
      ApplyInBatches(state, events, random);
      const Naive naive = NaiveUnderway(events, now);
      std::shuffle(events.begin(), events.end(), random.generator());
      ApplyInBatches(shuffled, events, random);

      const View view = LookAt(state, now);
      const UnderwayAnswer answer = All(view);
      const std::vector<std::string> names = Names(answer.orders);
      ASSERT_EQ(std::set<std::string>(names.begin(), names.end()), naive.underway);
      ASSERT_EQ(names.size(), naive.underway.size());
      ASSERT_EQ(Names(All(LookAt(shuffled, now)).orders), names) << "seed " << seed;
      std::set<std::string> told_overdue;
      for (const UnderwayOrder& one : answer.orders) {
        if (one.state == UnderwayState::kOverdue) {
          told_overdue.insert(FormatOrder(one.place.order, one.place.part));
          EXPECT_EQ(one.late_chance, 1);
          EXPECT_NE(one.reason, "");
        }
        EXPECT_EQ(one.state == UnderwayState::kNoPromise, !one.promise);
      }
      ASSERT_EQ(told_overdue, naive.overdue) << "seed " << seed;
      // The same numbers as the scores of the pairs, which are counted from cells.
      for (const Pair& pair : state.catalog().pairs->by_supplier) {
        const auto at = answer.counts.find(pair);
        const UnderwayTally tally = at == answer.counts.end() ? UnderwayTally{} : at->second;
        const auto score = view.Score(
            {pair.supplier, LaneQuery{pair.lane.origin, pair.lane.destination, pair.lane.service}},
            {});
        ASSERT_TRUE(score.ok());
        ASSERT_EQ(tally.orders, score->answer.score.underway_count) << "seed " << seed;
        ASSERT_EQ(tally.overdue, score->answer.score.overdue_count) << "seed " << seed;
        const auto counted = naive.counts.find(pair);
        ASSERT_EQ(tally.orders, counted == naive.counts.end() ? 0 : counted->second.orders);
      }
      listed += static_cast<int64_t>(names.size());
      overdue += static_cast<int64_t>(told_overdue.size());
      for (const auto& [order, folded] : FoldAll(events)) {
        for (const PartState& part : folded.parts) {
          lost += part.paid && !part.delivered && IsGivenUp(part, {}, now - kMillisPerDay) ? 1 : 0;
        }
      }
    }
  }
  EXPECT_GT(listed, 300);
  EXPECT_GT(overdue, 100);
  EXPECT_GT(lost, 30);
}

TEST(Underway, PagesAndFiltersArePartsOfTheWhole) {
  RandomOrders random(4);
  const Instant now = StartOf(Day{20'062});
  AppliedState state;
  ApplyInBatches(state, EventsBefore(now, random, 300), random);
  CostSettings costs;
  costs.currency = "EUR";
  costs.classes.resize(1);
  costs.classes[0].shop = "harbour";  // the other shop's have no value
  costs.classes[0].late_order = 400;
  Submission load;
  load.agreements = {costs};
  state.Apply(load);
  const View view = LookAt(state, now);
  const UnderwayAnswer whole = All(view);
  ASSERT_GT(whole.orders.size(), 30u);
  EXPECT_TRUE(std::is_sorted(
      whole.orders.begin(), whole.orders.end(), [](const UnderwayOrder& a, const UnderwayOrder& b) {
        const auto key = [](const UnderwayOrder& one) {
          return std::tuple(one.state != UnderwayState::kOverdue, -one.chase_value.value_or(-1),
                            -one.late_chance.value_or(-1));
        };
        return key(a) < key(b);
      }));
  for (const size_t size : {1u, 7u, 30u}) {
    std::vector<UnderwayOrder> paged;
    std::optional<UnderwayPlace> after;
    for (bool more = true; more;) {
      const auto page = view.Underway({}, after, size);
      ASSERT_TRUE(page.ok());
      ASSERT_LE(page->orders.size(), size);
      ASSERT_EQ(page->counts, whole.counts) << "counts are of all, whatever the page";
      paged.insert(paged.end(), page->orders.begin(), page->orders.end());
      more = page->more;
      after = paged.back().place;
      ASSERT_LE(paged.size(), whole.orders.size());
    }
    ASSERT_EQ(Names(paged), Names(whole.orders)) << size;
  }
  const auto expect_filtered = [&](const UnderwayFilter& filter, const auto& fits) {
    std::vector<UnderwayOrder> expected;
    std::copy_if(whole.orders.begin(), whole.orders.end(), std::back_inserter(expected), fits);
    EXPECT_THAT(expected, ::testing::Not(IsEmpty()));
    EXPECT_LT(expected.size(), whole.orders.size());
    EXPECT_EQ(Names(All(view, filter).orders), Names(expected));
  };
  expect_filtered({"lotus", {}, false}, [](auto& one) { return one.pair.supplier == "lotus"; });
  expect_filtered({"", LaneQuery{"VN", "DE", {}}, false}, [](auto& one) {
    return one.pair.lane.origin == "VN" && one.pair.lane.destination == "DE";
  });
  expect_filtered({"lotus", LaneQuery{"VN", "DE", ""}, false}, [](auto& one) {
    return one.pair == Pair{"lotus", {"VN", "DE", ""}};
  });
  expect_filtered({"", {}, true}, [](auto& one) {
    return one.state == UnderwayState::kOverdue || one.state == UnderwayState::kLikelyLate ||
           one.usual_handling_days.has_value();
  });
  EXPECT_THAT(All(view, {"nobody", {}, false}).orders, IsEmpty());
}

// A supplier whose orders all leave after 2 days and arrive 4 to 13 days later, one of each pace
// four times; it is the 1st of June.
class Told : public ::testing::Test {
 protected:
  Told() {
    for (int i = 0; i < 40; ++i) Past(absl::StrCat("past", i), "S", 4 + i % 10);
  }
  void Past(const std::string& id, const std::string& supplier, int transit) {
    OrderBuilder order({"default", id});
    order.Paid("2026-03-01T12:00").Promised("2026-04-01").With([&](Event& event) {
      event.supplier = supplier;
    });
    order.Shipped("2026-03-03T12:00");
    order.Delivered(FormatInstant(At("2026-03-03T12:00") + transit * kMillisPerDay).substr(0, 16));
    state_.Apply(order);
  }
  OrderBuilder Open(const std::string& id, const std::string& paid, const std::string& promised,
                    const std::string& supplier = "S") {
    OrderBuilder order({"default", id});
    order.Paid(paid);
    if (!promised.empty()) order.Promised(promised);
    order.With([&](Event& event) { event.supplier = supplier; });
    return order;
  }
  UnderwayOrder Ask(const OrderBuilder& order) {
    state_.Apply(order);
    for (const UnderwayOrder& one : All(LookAt(state_, now_)).orders) {
      if (one.place.order == order.key()) return one;
    }
    ADD_FAILURE() << "it is not listed";
    return {};
  }
  AppliedState state_;
  const Instant now_ = At("2026-06-01T12:00");
};

TEST_F(Told, AShippedOrderByTheTransitOfItsPair) {
  // Out for 6.5 days: of ten paces 7 to 13 days are left, and those of 9 to 13 miss the promise
  // after 8.5.
  const UnderwayOrder one = Ask(Open("a", "2026-05-24", "2026-06-03T12:00").Shipped("2026-05-26"));
  EXPECT_NEAR(*one.late_chance, 5. / 7, .01);
  EXPECT_EQ(one.state, UnderwayState::kLikelyLate);
  EXPECT_EQ(one.reason,
            "7 days on its way: 71 in 100 like it came later than this one was promised");
  EXPECT_NEAR(one.age_days, 8.5, 1e-9);
  EXPECT_EQ(one.chase_value, std::nullopt) << "no costs are set";
  EXPECT_EQ(one.usual_handling_days, std::nullopt);
}

TEST_F(Told, AnOrderNotShippedByTheDeliveryOfItsPairAndWhatIsUsual) {
  // Paid 6.5 days ago: paces of delivery are 6 to 15 days, 7 to 15 are left; due after 14.5.
  const UnderwayOrder one = Ask(Open("a", "2026-05-26", "2026-06-09T12:00"));
  EXPECT_NEAR(*one.late_chance, 1. / 9, .01);
  EXPECT_EQ(one.state, UnderwayState::kOnTime);
  ASSERT_TRUE(one.usual_handling_days);
  EXPECT_NEAR(*one.usual_handling_days, 2, .05);
  EXPECT_EQ(one.reason,
            "not shipped after 7 days; nine in ten of its supplier leave within 2 days");
  EXPECT_EQ(Ask(Open("b", "2026-05-31", "2026-06-09")).usual_handling_days, std::nullopt);
}

TEST_F(Told, APairWithFewOrdersGoesByTheLaneAndElsewhereNobodyCanTell) {
  for (int i = 0; i < 4; ++i) Past(absl::StrCat("new", i), "N", 4);
  const UnderwayOrder one =
      Ask(Open("a", "2026-05-24", "2026-06-03T12:00", "N").Shipped("2026-05-26"));
  EXPECT_NEAR(*one.late_chance, 5. / 7, .01);
  OrderBuilder elsewhere = Open("b", "2026-05-24", "2026-06-03T12:00");
  elsewhere.With([](Event& event) { event.destination = "NZ"; }).Shipped("2026-05-26");
  const UnderwayOrder other = Ask(elsewhere);
  EXPECT_EQ(other.late_chance, std::nullopt);
  EXPECT_EQ(other.state, UnderwayState::kOnTime);
  EXPECT_EQ(other.reason, "");
}

TEST_F(Told, WhatNoOrderTookSoLongForNobodyCanTell) {
  EXPECT_EQ(Ask(Open("a", "2026-05-01", "2026-06-20").Shipped("2026-05-02")).late_chance,
            std::nullopt);
}

TEST_F(Told, AnOrderPastItsPromiseIsLateAndOverdueOnceItsDaySettled) {
  const UnderwayOrder today = Ask(Open("a", "2026-05-20", "2026-06-01T10:00"));
  EXPECT_EQ(today.late_chance, 1);
  EXPECT_EQ(today.state, UnderwayState::kLikelyLate);
  const UnderwayOrder before = Ask(Open("b", "2026-05-20", "2026-05-30").Shipped("2026-05-21"));
  EXPECT_EQ(before.late_chance, 1);
  EXPECT_EQ(before.state, UnderwayState::kOverdue);
  EXPECT_EQ(before.reason, "2 days past its promise");
}

TEST_F(Told, WithoutAPromiseThereIsNoChance) {
  const UnderwayOrder one = Ask(Open("a", "2026-05-31", ""));
  EXPECT_EQ(one.state, UnderwayState::kNoPromise);
  EXPECT_EQ(one.late_chance, std::nullopt);
  EXPECT_EQ(one.promise, std::nullopt);
}

TEST_F(Told, NoNewsIsNotLate) {
  Submission news;
  news.news.push_back({"test", At("2026-05-28")});  // the source of all events is complete up to it
  state_.Apply(news);
  // It may have come since: as far as is known it was out for 2 days and nobody had come by then.
  const UnderwayOrder one = Ask(Open("a", "2026-05-24", "2026-05-30T12:00").Shipped("2026-05-26"));
  EXPECT_NEAR(*one.late_chance, .9, .01);
  // Out for 5.5 days, due after 8.25: of eight paces left five are slower.
  const UnderwayOrder other =
      Ask(Open("b", "2026-05-14", "2026-05-30T18:00").Shipped("2026-05-22T12:00"));
  EXPECT_NEAR(*other.late_chance, 5. / 8, .01);
  EXPECT_EQ(other.state, UnderwayState::kLikelyLate);
}

TEST_F(Told, ChaseValuesGoByTheCostClassOfShopAndItem) {
  CostSettings costs;
  costs.currency = "EUR";
  costs.classes.resize(2);
  costs.classes[0].late_order = 400;
  costs.classes[1].item_class = "fragile";
  costs.classes[1].late_order = 1000;
  Submission load;
  load.agreements = {costs, std::vector<Item>{{"vase", "fragile", "", ""}}};
  state_.Apply(load);
  OrderBuilder vase = Open("a", "2026-05-20", "2026-06-01T10:00");
  vase.With([](Event& event) { event.item = "vase"; });
  EXPECT_EQ(Ask(vase).chase_value, 1000);
  EXPECT_EQ(Ask(Open("b", "2026-05-20", "2026-06-01T10:00")).chase_value, 400);
  Ask(Open("c", "2026-05-20", "2026-05-30"));
  EXPECT_EQ(Ask(Open("d", "2026-05-31", "")).chase_value, std::nullopt);
  const UnderwayAnswer all = All(LookAt(state_, now_));
  EXPECT_EQ(all.currency, "EUR");
  EXPECT_THAT(Names(all.orders), ElementsAre("default/c", "default/a", "default/b", "default/d"))
      << "overdue first, then by value";
  const UnderwayTally tally = all.counts.at({"S", {"VN", "DE", ""}});
  EXPECT_EQ(tally, (UnderwayTally{4, 1, 2, 3}));
}

TEST_F(Told, WhatIsClosedIsNotListed) {
  state_.Apply(Open("a", "2026-05-20", "2026-06-09").Delivered("2026-05-30"));
  state_.Apply(Open("b", "2026-05-20", "2026-06-09").Cancelled("2026-05-30"));
  state_.Apply(Open("c", "2026-05-20", "2026-06-09").Refunded("2026-05-30"));
  state_.Apply(Open("d", "2026-03-20", "2026-04-09"));  // given up
  EXPECT_THAT(All(LookAt(state_, now_)).orders, IsEmpty());
  state_.Apply(Open("e", "2026-05-20", "2026-06-09").Refunded("2026-05-30", Reason::kLate, true));
  EXPECT_THAT(All(LookAt(state_, now_)).orders, SizeIs(1)) << "the shop paid, it is still to come";
}

}  // namespace
}  // namespace plumblane
