// What is raised with a supplier and in which order, by example.
#include "review/points.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <vector>

namespace plumblane {
namespace {

using testing::HasSubstr;

std::optional<double> InEuro(const Money& money) {
  if (money.currency == "EUR") return static_cast<double>(money.minor_units);
  if (money.currency == "USD") return .5 * static_cast<double>(money.minor_units);
  return std::nullopt;
}

std::vector<Point> Points(const Account& account) {
  return PointsToRaise(account, {"EUR", InEuro});
}

Account Lotus() {
  Account account;
  account.supplier = "lotus";
  account.period.order_count = 100;
  account.period.late = account.period.defect = {100, 0};
  return account;
}

TEST(PointsTest, LateOrdersAreRaisedWithFigureIntervalAndMoney) {
  Account account = Lotus();
  account.period.late.hits = 20;
  account.period.days_late = 30;
  account.period.late_arrived = 15;
  account.paid_for[static_cast<size_t>(Stake::kLate)] = {{"EUR", 30'000}, {"USD", 2'000}};
  const Point late = Points(account).at(0);
  EXPECT_EQ(late.kind, Point::Kind::kLate);
  EXPECT_FALSE(late.good);
  EXPECT_EQ(late.sentence,
            "20 of 100 orders due came late (20 %, 95 % limits 13 % to 29 %), on average 2.0 "
            "days after the promised day.");
  EXPECT_EQ(late.at_stake, (Money{31'000, "EUR"}));
  EXPECT_FALSE(late.by_costs);
}

TEST(PointsTest, CostSettingsSayWhatIsAtStake) {
  Account account = Lotus();
  account.period.late.hits = 20;
  account.costs = PeriodCosts{.late = 5'800, .days_late = 200.4};
  const Point late = Points(account).at(0);
  EXPECT_EQ(late.at_stake, (Money{6'000, "EUR"}));
  EXPECT_TRUE(late.by_costs);
}

TEST(PointsTest, WhatIsPlainlyGoodIsNotRaisedUnlessItWorsened) {
  Account account = Lotus();
  account.period.late = {100, 1};
  for (const Point& point : Points(account)) EXPECT_NE(point.kind, Point::Kind::kLate);
  account.changes.push_back({Measure::kOnTime,
                             Change::Against::kPeriodBefore,
                             {100, 1},
                             {100, 0},
                             Comparison{.01, {0, .05}, .01},
                             .01,
                             Change::Verdict::kWorse});
  EXPECT_THAT(Points(account).at(0).sentence, HasSubstr("more than chance (adjusted p 0.01)"));
  account.changes.back().verdict = Change::Verdict::kBetter;
  EXPECT_TRUE(Points(account).at(0).good);
}

TEST(PointsTest, NothingLateAndNothingBadWentWell) {
  const std::vector<Point> points = Points(Lotus());
  ASSERT_EQ(points.size(), 2u);
  EXPECT_TRUE(points[0].good && points[1].good);
  EXPECT_TRUE(Points(Account()).empty());
  Account few = Lotus();
  few.period.late = few.period.defect = {9, 0};
  EXPECT_TRUE(Points(few).empty());
}

TEST(PointsTest, AmountsAreRaisedByMoney) {
  Account account = Lotus();
  account.period.kinds[IndexOfKind(Code::kLost)] = 1;
  account.period.defect.hits = 1;
  account.paid_for[static_cast<size_t>(Stake::kLost)] = {{"EUR", 1'500}};
  account.period.money["USD"] = {.claimed = 9'000, .owed = 8'000, .owed_orders = 3};
  account.period.money["EUR"] = {.quoted_orders = 80,
                                 .charged = 100'000,
                                 .quoted = 98'000,
                                 .overcharged_orders = 12,
                                 .overcharged = 2'000};
  account.period.out_of_stock = 2;  // of orders that cost nothing known
  std::vector<Point::Kind> kinds;
  std::vector<std::string> sentences;
  for (const Point& point : Points(account)) {
    if (point.good) continue;
    kinds.push_back(point.kind);
    sentences.push_back(point.sentence);
  }
  // 8,000 USD cents are 4,000 of EUR.
  EXPECT_THAT(kinds, testing::ElementsAre(Point::Kind::kOwed, Point::Kind::kOvercharged,
                                          Point::Kind::kLost, Point::Kind::kOutOfStock));
  EXPECT_EQ(sentences[0],
            "Of 90.00 USD claimed in the period 80.00 USD has not come back, for 3 orders.");
  EXPECT_THAT(sentences[1], HasSubstr("12 of 80 orders with a quote cost more than quoted"));
  EXPECT_THAT(sentences[1], HasSubstr("20.00 EUR in all."));
}

TimesEstimate Within(double half_days, double most_days) {
  TimesEstimate times;
  times.entered_count = times.finished_count = 50;
  times.median = {half_days * 86'400, {}, {}};
  times.p90 = {most_days * 86'400, {}, {}};
  return times;
}

TEST(PointsTest, OrdersThatLeaveLaterAreRaisedWhenItIsMoreThanChance) {
  Account account = Lotus();
  account.period.handling = Within(3, 6);
  account.before.emplace();
  account.before->handling = Within(1, 2);
  account.times_changes = {{.comparison = TimesComparison{true, .001},
                            .adjusted_p = .012,
                            .verdict = Change::Verdict::kWorse}};
  const Point point = Points(account).at(0);
  EXPECT_EQ(point.kind, Point::Kind::kSlowHandling);
  EXPECT_EQ(point.sentence,
            "Of 50 orders half left within 3.0 days and nine in ten within 6.0 days; in the period "
            "before it was half within 1.0 days and nine in ten within 2.0 days, and the "
            "difference is more than chance (adjusted p 0.012).");
  account.times_changes[0].verdict = Change::Verdict::kNoMoreThanChance;
  for (const Point& other : Points(account)) {
    EXPECT_NE(other.kind, Point::Kind::kSlowHandling);
  }
}

TEST(PointsTest, AnswersThatTakeLongerAreRaisedHoweverQuickTheyAre) {
  Account account = Lotus();
  account.period.response = Within(2, 2.5);
  account.before.emplace();
  account.before->response = Within(1, 1.5);
  for (const Point& other : Points(account)) {
    EXPECT_NE(other.kind, Point::Kind::kSlowAnswers);
  }
  account.times_changes = {{.what = TimesChange::What::kResponse,
                            .comparison = TimesComparison{true, .001},
                            .adjusted_p = .012,
                            .verdict = Change::Verdict::kWorse}};
  const Point point = Points(account).at(0);
  EXPECT_EQ(point.kind, Point::Kind::kSlowAnswers);
  EXPECT_THAT(point.sentence, HasSubstr("; in the period before it was half within 1.0 days and"));
}

TEST(PointsTest, AreAtMostSixAndThreeGoodOnes) {
  Account account = Lotus();
  for (int i = 0; i < 20; ++i) {
    account.items.push_back({"item-" + std::to_string(i),
                             Measure::kOnTime,
                             {20, 10},
                             {80, 1},
                             Comparison{.4, {.2, .6}, .001},
                             .01});
  }
  const std::vector<Point> points = Points(account);
  EXPECT_EQ(points.size(), kMostRaised + 2);
}

}  // namespace
}  // namespace plumblane
