// What one order is expected to cost: the sum redone by hand, and what each part leans on.
#include "ranking/order_cost.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "ranking/reasons.h"
#include "scoring/rate.h"

namespace plumblane {
namespace {

using ::testing::HasSubstr;
using ::testing::StartsWith;

// Everybody arrives after exactly `days`, but the share `lost`, which never does.
Outlook Arriving(double days, double orders, double lost = 0) {
  Outlook outlook;
  outlook.orders = orders;
  for (size_t day = 0; day < Outlook::kDays; ++day) {
    const double end = static_cast<double>(day) + 0.5;
    outlook.not_arrived[day] = end < days ? 1 : lost;
    outlook.days_by[day] = std::min(days, end) + lost * std::max(0.0, end - days);
    outlook.worth[day] = orders;
  }
  outlook.followed_days = 300;
  return outlook;
}

CostClass Costs() {
  CostClass costs;
  costs.late_order = 400;
  costs.day_late = 50;
  costs.day_waiting = 10;
  costs.unanswered_day = 30;
  costs.defects[IndexOfKind(Code::kDamaged)] = {0.5, false};
  costs.defects[IndexOfKind(Code::kQuality)] = {0.3, false};
  costs.defects[IndexOfKind(Code::kLost)] = {0, true};
  return costs;
}

double KindShare(const CostParts& parts, Code kind) { return parts.kind_shares[IndexOfKind(kind)]; }

TEST(OrderCost, RedoneByHand) {
  // 1,000 orders' worth: 20 defects, of which 8 damaged, 8 poor, 4 lost; 50 claims answered after 3
  // days; all but the lost ones arrive after 12.25 days, promised in 10.
  Outlook pair = Arriving(12.25, 1000, 0.004);
  pair.defects = 20;
  pair.kinds = {8, 8, 0, 0, 0, 0, 4};
  pair.disputes = 50;
  pair.answer_days = 3;
  const OrderBelief belief{{1, 9}, {2, 98}, &pair, nullptr, &pair, nullptr};
  const OrderCost cost = CostOf({1000, 3000.0, 10, 0}, belief, Costs());
  const CostParts& parts = cost.parts;

  // Kinds: 1/7 each at first, then twice the counts above with the weight of 4 orders behind.
  const double once = (4 + 4.0 / 7) / 24, lost = (4 + 4 * once) / 24;
  const double damaged = (8 + 4 * (8 + 4.0 / 7) / 24) / 24;
  EXPECT_NEAR(KindShare(parts, Code::kLost), 0.02 * lost, 1e-12);
  EXPECT_NEAR(KindShare(parts, Code::kDamaged), 0.02 * damaged, 1e-12);

  EXPECT_EQ(parts.landed, 1000);
  EXPECT_NEAR(parts.late_share, 0.1 - 0.02 * lost, 1e-12) << "a lost order is not late as well";
  EXPECT_NEAR(parts.late, 400 * parts.late_share, 1e-9);
  // Of the 1.75 days that it is late all orders but the lost ones.
  EXPECT_NEAR(parts.late_days, 0.996 * 1.75, 1e-3);
  EXPECT_NEAR(parts.days_late, 50 * parts.late_days, 1e-9);
  EXPECT_NEAR(parts.waiting_days, 0.996 * 12.25, 5e-3);
  EXPECT_NEAR(parts.waiting, 10 * parts.waiting_days, 1e-9);
  EXPECT_NEAR(parts.defect, 0.02 * (damaged * 0.5 * 3000 + damaged * 0.3 * 3000), 1e-9);
  EXPECT_NEAR(parts.lost, 0.02 * lost * 1000, 1e-9) << "another one at the landed price";
  EXPECT_NEAR(parts.unanswered, 0.05 * 3 * 30, 1e-9);
  EXPECT_NEAR(parts.Expected(), cost.belief.Expected(), 1e-9);
}

TEST(OrderCost, WithoutSalePriceARefundCostsNothing) {
  const OrderBelief belief{{1, 9}, {2, 98}, nullptr, nullptr, nullptr, nullptr};
  EXPECT_EQ(CostOf({1000, {}, 10, 0}, belief, Costs()).parts.defect, 0);
}

TEST(OrderCost, WithoutPromiseNoOrderIsLate) {
  const Outlook pair = Arriving(12, 100);
  const CostParts parts =
      CostOf({1000, 3000.0, {}, 0}, {{5, 5}, {1, 99}, &pair, nullptr, &pair, nullptr}, Costs())
          .parts;
  EXPECT_EQ(parts.late, 0);
  EXPECT_EQ(parts.days_late, 0);
  EXPECT_NEAR(parts.waiting_days, 12, 0.1);
}

TEST(OrderCost, TimesOfFewOrdersLeanOnTheLane) {
  const Outlook pair = Arriving(20, 4), lane = Arriving(10, 500);
  const CostParts parts =
      CostOf({0, {}, 30, 0}, {{1, 9}, {1e-9, 99}, &pair, &lane, &pair, nullptr}, Costs()).parts;
  EXPECT_NEAR(parts.waiting_days, 15, 0.01) << "four orders weigh as much as what is behind them";
  EXPECT_FALSE(parts.times_assumed);
}

TEST(OrderCost, TimesOfASupplierWithoutOrdersAreThoseOfTheLaneOrItsPromise) {
  const Outlook lane = Arriving(10, 500);
  const OrderBelief on_lane{{1, 9}, {1e-9, 99}, nullptr, &lane, nullptr, nullptr};
  const CostParts by_lane = CostOf({0, {}, 8, 0}, on_lane, Costs()).parts;
  EXPECT_TRUE(by_lane.times_assumed);
  EXPECT_NEAR(by_lane.waiting_days, 10, 0.01);
  EXPECT_NEAR(by_lane.late_days, 1.5, 0.01);
  const OrderBelief alone{{1, 9}, {1e-9, 99}, nullptr, nullptr, nullptr, nullptr};
  const CostParts by_promise = CostOf({0, {}, 8, 0}, alone, Costs()).parts;
  EXPECT_TRUE(by_promise.times_assumed);
  EXPECT_EQ(by_promise.waiting_days, 8);
  EXPECT_EQ(by_promise.late_days, 0);
}

TEST(OrderCost, ClosedDaysAreWaitedForAndNotLate) {
  const Outlook pair = Arriving(9, 500);
  const OrderBelief belief{{1, 9}, {1e-9, 99}, &pair, nullptr, &pair, nullptr};
  const CostParts open = CostOf({0, {}, 10, 0}, belief, Costs()).parts;
  const CostParts closed = CostOf({0, {}, 10, 6}, belief, Costs()).parts;
  EXPECT_NEAR(closed.waiting_days - open.waiting_days, 6, 1e-12);
  EXPECT_EQ(closed.late_days, open.late_days);
}

TEST(OrderCost, APromiseUnlikeTheFormerOnesIsJudgedByArrivals) {
  Outlook pair = Arriving(9, 400);
  for (size_t day = 8; day < 12; ++day) pair.not_arrived[day] = 0.25;
  pair.promised = 100;
  struct Row {
    double promised_before;
    int now;
    bool by_arrivals;
  };
  for (const Row& row : {Row{10, 10, false}, Row{10, 12, false}, Row{10, 8, false},
                         Row{15, 10, true}, Row{7, 10, true}, Row{10, 7, true}}) {
    pair.promised_days = 100 * row.promised_before;
    const OrderCost cost =
        CostOf({0, {}, row.now, 0}, {{1, 9}, {1e-9, 99}, &pair, nullptr, &pair, nullptr}, Costs());
    EXPECT_EQ(cost.parts.late_by_arrivals, row.by_arrivals)
        << row.promised_before << " before, now " << row.now;
    if (row.by_arrivals && row.now == 10) {
      EXPECT_NEAR(cost.parts.late_share, 0.25, 1e-9);
    }
  }
}

TEST(OrderCost, ClaimsOfASupplierLeanOnTheFleet) {
  Outlook fleet = Arriving(9, 1000), supplier = Arriving(9, 4);
  fleet.disputes = 100;
  fleet.answer_days = 2;
  supplier.disputes = 4;
  supplier.answer_days = 10;
  const CostParts parts =
      CostOf({0, {}, 10, 0}, {{1, 9}, {1, 99}, nullptr, nullptr, &supplier, &fleet}, Costs()).parts;
  EXPECT_NEAR(parts.dispute_share, (1.0 + 0.1) / 2, 1e-9);
  EXPECT_NEAR(parts.answer_days, (10 + 2) / 2.0, 1e-9);
}

// Reasons.

CostParts Parts(double landed, double late, double late_share) {
  CostParts parts;
  parts.landed = landed;
  parts.late = late;
  parts.late_share = late_share;
  return parts;
}

TEST(Reasons, SayWhatTheDifferenceIsMadeOf) {
  const CostParts dear = Parts(1050, 40, 0.1), cheap = Parts(990, 310, 0.25);
  const std::string amber = "amber", tin = "tin";
  EXPECT_EQ(WhyFirst({amber, dear}, {tin, cheap}, "EUR"),
            "0.60 EUR dearer than the quote of tin, but that one is late 1 in 4 (amber: 1 in 10)");
  EXPECT_EQ(WhyNotFirst({tin, cheap}, {amber, dear}, "EUR"),
            "expected 2.10 EUR dearer than amber: quoted 0.60 EUR less, but is late 1 in 4 (amber: "
            "1 in 10)");
  EXPECT_EQ(WhyFirst({tin, cheap}, {tin, cheap}, "EUR"),
            "the cheapest quote, and the lowest expected cost");
}

TEST(Reasons, NameThePriceWhereNothingElseCostsMore) {
  const std::string one = "one", first = "first";
  EXPECT_EQ(WhyNotFirst({one, Parts(1100, 0, 0)}, {first, Parts(1000, 0, 0)}, "EUR"),
            "expected 1.00 EUR dearer than first: quoted 1.00 EUR more");
  EXPECT_THAT(WhyNotFirst({one, Parts(1000, 0, 0)}, {first, Parts(1000, 0, 0)}, "EUR"),
              StartsWith("expected to cost what first does"));
}

TEST(Reasons, SharesAreSpokenAsOneIn) {
  EXPECT_EQ(OneIn(0.25), "1 in 4");
  EXPECT_EQ(OneIn(0.62), "62 in 100");
  EXPECT_EQ(OneIn(0.0001), "fewer than 1 in 2,000");
}

}  // namespace
}  // namespace plumblane
