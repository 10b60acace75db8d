// What became of single orders, and what only they tell of a period.
#include "review/order_tally.h"

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
using testing::ElementsAre;
using testing::IsEmpty;

const Periods kPeriods = {Period{On("2026-03-01"), On("2026-03-31")},
                          Period{On("2026-02-01"), On("2026-02-28")},
                          Period{On("2025-03-01"), On("2025-03-31")}};

ReviewRules RulesAt(const std::string& time) {
  return {{At(time), At(time), DayOf(At(time)) - 1}, 60, 30, false};
}

PartState PartOf(const OrderBuilder& order, const ExcuseBook& excuses = {}) {
  return order.Fold({}, excuses).parts.at(0);
}

PartOutcome Outcome(const OrderBuilder& order, const std::string& as_of = "2026-12-01") {
  return OutcomeOf(order.Sorted(), PartOf(order), RulesAt(as_of));
}

std::vector<std::string_view> Findings(const OrderBuilder& order,
                                       const std::string& as_of = "2026-12-01") {
  return FindingsOf(Outcome(order, as_of), kPeriods[0]);
}

// Paid on the 1st for 20.00 EUR, due on the 10th.
OrderBuilder Paid(OrderKey key = {"default", "1"}) {
  OrderBuilder order(std::move(key));
  order.Paid("2026-03-01").With([](Event& event) {
    event.cost = Money{2'000, "EUR"};
    event.item = "lamp";
  });
  order.Promised("2026-03-10");
  return order;
}

OrderBuilder& Claimed(OrderBuilder& order, const std::string& day, int64_t minor) {
  return order.Disputed(day, Reason::kDamaged).With([&](Event& event) {
    event.claim = Money{minor, "EUR"};
  });
}

OrderBuilder& Refunded(OrderBuilder& order, const std::string& day, int64_t minor,
                       bool by_shop = false) {
  return order.Refunded(day, Reason::kNone, by_shop).With([&](Event& event) {
    event.refund = Money{minor, "EUR"};
  });
}

TEST(OutcomeTest, IsWhatIsKnownByThen) {
  OrderBuilder order = Paid();
  order.Delivered("2026-03-13T10:00");
  const struct {
    const char* as_of;
    bool settled, late, arrived;
    int days_late;
  } rows[] = {
      {"2026-03-10T23:00", false, false, false, 0},  // its day is not over
      {"2026-03-11", true, true, false, 0},         {"2026-03-13", true, true, false, 2},
      {"2026-03-14", true, true, true, 3},          {"2026-12-01", true, true, true, 3},
  };
  for (const auto& row : rows) {
    const PartOutcome outcome = Outcome(order, row.as_of);
    EXPECT_EQ(outcome.due, On("2026-03-10")) << row.as_of;
    EXPECT_EQ(outcome.settled, row.settled) << row.as_of;
    EXPECT_EQ(outcome.late, row.late) << row.as_of;
    EXPECT_EQ(outcome.arrived, row.arrived) << row.as_of;
    EXPECT_EQ(outcome.days_late, row.days_late) << row.as_of;
  }
  EXPECT_EQ(Outcome(order, "2026-03-01").paid, std::nullopt) << "not paid yet";
}

TEST(OutcomeTest, InTimeWithdrawnAndLost) {
  OrderBuilder in_time = Paid();
  in_time.Delivered("2026-03-10T23:59");
  EXPECT_FALSE(Outcome(in_time).late);
  EXPECT_FALSE(Outcome(in_time).under_way);
  OrderBuilder withdrawn = Paid();
  withdrawn.Cancelled("2026-03-05");
  EXPECT_FALSE(Outcome(withdrawn).on_time_counts);
  EXPECT_FALSE(Outcome(withdrawn).late);
  EXPECT_TRUE(Outcome(Paid(), "2026-04-09").under_way);
  EXPECT_EQ(Outcome(Paid(), "2026-04-09").defect, std::nullopt) << "30 days are not over";
  EXPECT_EQ(Outcome(Paid()).defect, Code::kLost);
  EXPECT_FALSE(Outcome(Paid()).under_way);
}

TEST(OutcomeTest, ADefectCountsWithinTheClaimWindow) {
  const auto disputed = [](const std::string& day) {
    OrderBuilder order = Paid();
    order.Delivered("2026-03-09").Disputed(day, Reason::kQuality);
    return order;
  };
  EXPECT_EQ(Outcome(disputed("2026-05-09")).defect, Code::kQuality);  // 60 days after
  EXPECT_EQ(Outcome(disputed("2026-05-10")).defect, std::nullopt);
  EXPECT_EQ(Outcome(disputed("2026-03-20"), "2026-03-20").defect, std::nullopt) << "not yet";
}

TEST(OutcomeTest, RefundsAndWhatIsOwedAreThoseUpToTheMomentAsked) {
  OrderBuilder order = Paid();
  order.Delivered("2026-03-09");
  Claimed(order, "2026-03-20", 1'500);
  Refunded(order, "2026-04-10", 600);
  Refunded(order, "2026-04-11", 700, /*by_shop=*/true);
  Refunded(order, "2026-05-10", 400);
  const struct {
    const char* as_of;
    std::optional<Day> claimed;
    int64_t refunded, owed;
  } rows[] = {{"2026-03-20", std::nullopt, 0, 0},
              {"2026-03-21", On("2026-03-20"), 0, 1'500},
              {"2026-04-11", On("2026-03-20"), 600, 900},
              {"2026-05-11", On("2026-03-20"), 1'000, 500}};
  for (const auto& row : rows) {
    const PartOutcome outcome = Outcome(order, row.as_of);
    const auto refunded = outcome.refunded.find("EUR");
    EXPECT_EQ(refunded == outcome.refunded.end() ? 0 : refunded->second, row.refunded) << row.as_of;
    EXPECT_EQ(outcome.claimed, row.claimed) << row.as_of;
    EXPECT_EQ(outcome.owed ? outcome.owed->minor_units : 0, row.owed) << row.as_of;
  }
}

TEST(KnownByTest, LaterTimesAndTheirClaimAreLeftOut) {
  OrderBuilder order = Paid();
  order.Shipped("2026-03-02").Delivered("2026-03-09");
  Claimed(order, "2026-03-20", 1'500).Answered("2026-03-25");
  const PartState then = KnownBy(PartOf(order), On("2026-03-19"));
  EXPECT_TRUE(then.paid && then.shipped && then.delivered);
  EXPECT_FALSE(then.disputed || then.answered || then.claim);
  EXPECT_EQ(KnownBy(PartOf(order), On("2026-03-25")), PartOf(order));
}

TEST(FindingsTest, StandOnlyWhereTheirDayLiesInThePeriod) {
  OrderBuilder late = Paid();
  late.Delivered("2026-03-12").Disputed("2026-03-20", Reason::kWrongItem);
  EXPECT_THAT(Findings(late), ElementsAre("late", "wrong_item"));
  OrderBuilder good = Paid();
  good.Delivered("2026-03-09");
  EXPECT_THAT(Findings(good), IsEmpty());
  OrderBuilder next_month;
  next_month.Paid("2026-03-20").Promised("2026-04-02").Delivered("2026-04-05");
  EXPECT_THAT(Findings(next_month), IsEmpty()) << "due in April";
  OrderBuilder gone = Paid();
  gone.Cancelled("2026-03-04", Reason::kOutOfStock);
  EXPECT_THAT(Findings(gone), testing::Contains("out_of_stock"));
  OrderBuilder owed = Paid();
  owed.Delivered("2026-03-09");
  Claimed(owed, "2026-03-20", 1'500);
  EXPECT_THAT(Findings(owed), ElementsAre("damaged", "owed"));
  Refunded(owed, "2026-03-28", 1'500);
  EXPECT_THAT(Findings(owed), ElementsAre("damaged"));
}

// ---- sums -------------------------------------------------------------------------------------

OrderSums Tally(const std::vector<OrderBuilder>& orders, ReviewRules rules,
                const ExcuseBook& excuses = {}, const Agreements* agreements = nullptr) {
  OrderTally tally(kPeriods, rules, agreements);
  for (const OrderBuilder& order : orders) {
    tally.Add(order.key(), order.Sorted(), PartOf(order, excuses));
  }
  return tally.Take();
}

const Pair kPair{"S", {"VN", "DE", ""}};

TEST(OrderTallyTest, MoneyCountsOnTheDayItMoved) {
  OrderBuilder order = Paid();
  order.Delivered("2026-03-09");
  Claimed(order, "2026-03-20", 1'500);
  Refunded(order, "2026-03-30", 600);
  Refunded(order, "2026-04-02", 100);  // in April: still not owed
  Refunded(order, "2026-03-29", 700, /*by_shop=*/true);
  const OrderSums sums = Tally({order}, RulesAt("2026-12-01"));
  const MoneyFigures money = sums.pairs.at(kPair).in[0].money.at("EUR");
  EXPECT_EQ(money.claimed, 1'500);
  EXPECT_EQ(money.owed, 800);
  EXPECT_EQ(money.refunded_by_supplier, 600);
  EXPECT_EQ(money.refunded_by_shop, 700);
  EXPECT_TRUE(sums.pairs.at(kPair).in[1].money.empty());
}

TEST(OrderTallyTest, WhatIsAtStakeIsWhatWasPaidAndALostOrderCountsOnce) {
  OrderBuilder late = Paid();
  late.Delivered("2026-03-14");
  const OrderSums sums = Tally({late, Paid()}, RulesAt("2026-12-01"));
  const auto& paid_for = sums.pairs.at(kPair).paid_for;
  EXPECT_THAT(paid_for[static_cast<size_t>(Stake::kLate)], ElementsAre(std::pair("EUR", 2'000)));
  EXPECT_THAT(paid_for[static_cast<size_t>(Stake::kLost)], ElementsAre(std::pair("EUR", 2'000)));
  EXPECT_THAT(paid_for[static_cast<size_t>(Stake::kDefect)], IsEmpty());
  EXPECT_EQ(sums.items.at("S").at("lamp").late, (HitCount{2, 2}));
}

// Excuses of all three kinds, of which two are in words of our own.
struct Excused {
  Excused() {
    excuses.Put({"a", ExcusedOrder{{"default", "one"}, 1}, "we forgot to pay him"});
    excuses.Put({"b", ExcusedDays{{"VN", "DE", {}}, On("2026-03-10"), On("2026-03-10")},
                 "strike, do not tell him"});
    for (const char* id : {"one", "two", "three"}) {
      orders.push_back(Paid({"default", id}));
      orders.back().Delivered("2026-03-12");
    }
    orders[2].Disputed("2026-03-20", Reason::kRefused);
  }
  std::vector<std::string> Reasons(bool hides_notes) const {
    ReviewRules rules = RulesAt("2026-12-01");
    rules.hides_notes = hides_notes;
    const OrderSums sums = Tally(orders, rules, excuses);
    std::vector<std::string> reasons;
    for (const auto& [reason, some] : sums.pairs.at(kPair).excuses) {
      reasons.push_back(absl::StrCat(reason, " ", some.orders, " ", some.settled.hits));
    }
    return reasons;
  }
  ExcuseBook excuses;
  std::vector<OrderBuilder> orders;
};

TEST(OrderTallyTest, ExcusesAreToldByReasonAndToOthersByKind) {
  const Excused excused;
  EXPECT_THAT(excused.Reasons(false), ElementsAre("refused 1 1", "strike, do not tell him 1 1",
                                                  "we forgot to pay him 1 1"));
  EXPECT_THAT(excused.Reasons(true),
              ElementsAre("days on this lane 1 1", "refused 1 1", "single orders 1 1"));
}

TEST(OrderTallyTest, CostsAreThoseOfTheSettings) {
  Agreements agreements;
  agreements.costs.currency = "EUR";
  agreements.costs.classes.resize(1);
  CostClass& settings = agreements.costs.classes[0];
  settings.late_order = 400;
  settings.day_late = 50;
  settings.sale = 5'000;
  settings.defects[IndexOfKind(Code::kDamaged)] = {.5, true};
  OrderBuilder late = Paid();
  late.Delivered("2026-03-13");
  OrderBuilder damaged = Paid();
  damaged.Delivered("2026-03-09").Disputed("2026-03-20", Reason::kDamaged);
  const PeriodCosts costs =
      Tally({late, damaged}, RulesAt("2026-12-01"), {}, &agreements).pairs.at(kPair).costs;
  EXPECT_DOUBLE_EQ(costs.late, 400);
  EXPECT_DOUBLE_EQ(costs.days_late, 3 * 50);
  EXPECT_DOUBLE_EQ(costs.defects, .5 * 5'000 + 2'000);
  EXPECT_EQ(costs.unknown, 0);
}

TEST(OrderTallyTest, SumsOfTwoHalvesAreTheWhole) {
  const Excused excused;
  std::vector<OrderBuilder> all = excused.orders;
  for (int i = 0; i < 6; ++i) {
    all.push_back(Paid({"harbour", absl::StrCat(i)}));
    all.back().Promised("2026-03-11");  // of no excuse
    if (i % 2 == 0) all.back().Delivered("2026-03-14");
    if (i % 3 == 0) Claimed(all.back(), "2026-03-20", 100 * i);
  }
  const ReviewRules rules = RulesAt("2026-12-01");
  const OrderSums whole = Tally(all, rules, excused.excuses);
  OrderSums sum = Tally({all.begin(), all.begin() + 4}, rules, excused.excuses);
  sum.Add(Tally({all.begin() + 4, all.end()}, rules, excused.excuses));
  const OrderFigures &one = whole.pairs.at(kPair), &two = sum.pairs.at(kPair);
  EXPECT_EQ(one.in[0].money, two.in[0].money);
  EXPECT_EQ(one.excuses, two.excuses);
  EXPECT_EQ(one.paid_for, two.paid_for);
  EXPECT_EQ(whole.items.at("S").at("lamp").late, sum.items.at("S").at("lamp").late);
}

}  // namespace
}  // namespace plumblane
