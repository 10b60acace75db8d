// Reviews through the handlers: what is read of a request, what is written of an answer.
#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "service/read_question.h"
#include "service/review_service.h"
#include "service/service_support.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;
using test::RunningEngine;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::SizeIs;
using ::testing::StartsWith;

v1::GetReviewRequest March() {
  v1::GetReviewRequest request;
  request.set_first_date("2026-03-01");
  request.set_last_date("2026-03-31");
  return request;
}

// ---- reading ----------------------------------------------------------------------------------

TEST(ReadReviewTest, AllThatWasAsked) {
  v1::GetReviewRequest request = March();
  request.set_supplier("lotus");
  request.set_shop("harbour");
  request.mutable_lane()->set_origin("vn");
  request.mutable_lane()->set_destination("DE");
  test::Stamp("2026-04-01", request.mutable_as_of_time());
  request.set_to_share(true);
  const auto asked = ReadReview(request, At("2026-06-01"));
  ASSERT_TRUE(asked.ok()) << asked.status();
  EXPECT_EQ(asked->period, (Period{On("2026-03-01"), On("2026-03-31")}));
  EXPECT_EQ(asked->supplier, "lotus");
  EXPECT_EQ(asked->shop, "harbour");
  EXPECT_EQ(FormatLaneQuery(*asked->lane), "VN-DE");
  EXPECT_EQ(asked->as_of, At("2026-04-01"));
  EXPECT_TRUE(asked->to_share);
}

TEST(ReadReviewTest, WhatMakesNoSenseIsNamed) {
  const struct {
    void (*change)(v1::GetReviewRequest&);
    const char* problem;
  } rows[] = {
      {[](auto& r) { r.set_first_date(""); }, "first_date: "},
      {[](auto& r) { r.set_first_date("2026-02-30"); }, "first_date: "},
      {[](auto& r) { r.set_last_date("March"); }, "last_date: "},
      {[](auto& r) { r.set_last_date("2026-02-28"); }, "last_date: expected a day not before"},
      {[](auto& r) { r.set_last_date("2036-03-02"); }, "last_date: "},
      {[](auto& r) { r.set_supplier("a\tb"); }, "supplier: "},
      {[](auto& r) { r.set_shop("a\tb"); }, "shop: "},
      {[](auto& r) { r.mutable_lane()->set_origin("Vietnam"); }, "lane"},
      {[](auto& r) { test::Stamp("2026-07-01", r.mutable_as_of_time()); }, "as_of_time: "},
      {[](auto& r) { r.set_to_share(true); }, "supplier: expected the one to share"},
  };
  for (const auto& row : rows) {
    v1::GetReviewRequest request = March();
    row.change(request);
    const auto asked = ReadReview(request, At("2026-06-01"));
    EXPECT_EQ(asked.status().code(), absl::StatusCode::kInvalidArgument) << row.problem;
    EXPECT_THAT(std::string(asked.status().message()), StartsWith(row.problem));
  }
  v1::GetReviewRequest day = March();
  day.set_last_date("2026-03-01");
  EXPECT_TRUE(ReadReview(day, At("2026-06-01")).ok()) << "a single day is a period";
}

// ---- writing ----------------------------------------------------------------------------------

v1::Review Write(const Account& account, const ReviewedAccount& rest = {}, bool to_share = false) {
  ReviewAsked asked;
  asked.to_share = to_share;
  v1::Review review;
  WriteReview(asked, ReviewAnswer(), 60, &review);
  WriteAccount(account, rest, to_share, review.add_accounts());
  return review;
}

TEST(WriteReviewTest, NoDataIsNotZero) {
  const v1::Review review = Write(Account());
  const v1::Account& account = review.accounts(0);
  EXPECT_FALSE(account.period().on_time().has_observed());
  EXPECT_FALSE(account.period().defect().has_low());
  EXPECT_FALSE(account.period().has_mean_days_late());
  EXPECT_FALSE(account.period().has_on_time_without_excuses());
  EXPECT_FALSE(account.period().has_order_share());
  EXPECT_FALSE(account.has_before() || account.has_year_ago() || account.has_lane());
  EXPECT_FALSE(account.has_cost_parts() || account.has_assigned() || account.has_at_stake());
  EXPECT_FALSE(review.has_news_time());
}

TEST(WriteReviewTest, SharesAreOfOnTimeAndOfDefects) {
  Account account;
  account.period.late = {40, 4};
  account.period.defect = {9, 1};
  const v1::Figures figures = Write(account).accounts(0).period();
  EXPECT_DOUBLE_EQ(figures.on_time().observed(), .9);
  EXPECT_EQ(figures.on_time().hit_count(), 4);
  EXPECT_FALSE(figures.on_time().too_thin());
  EXPECT_DOUBLE_EQ(figures.defect().observed(), 1. / 9);
  EXPECT_TRUE(figures.defect().too_thin());
}

TEST(WriteReviewTest, ComparisonsStandOnlyWhereTheyWereMade) {
  Account account;
  Change thin, worse;
  worse.against = Change::Against::kYearAgo;
  worse.verdict = Change::Verdict::kWorse;
  worse.comparison = Comparison{.2, {.1, .3}, .01};
  worse.adjusted_p = .02;
  account.changes = {thin, worse};
  TimesChange thin_times, longer;
  longer.what = TimesChange::What::kDaysLate;
  longer.now = {30, 28};
  longer.then = {20, 20};
  longer.comparison = TimesComparison{true, .03};
  longer.adjusted_p = .04;
  longer.verdict = Change::Verdict::kWorse;
  account.times_changes = {thin_times, longer};
  const v1::Account written = Write(account).accounts(0);
  EXPECT_EQ(written.changes(0).verdict(), v1::Change::VERDICT_TOO_THIN);
  EXPECT_FALSE(written.changes(0).has_p_value() || written.changes(0).has_difference());
  EXPECT_EQ(written.changes(1).against(), v1::Change::AGAINST_YEAR_AGO);
  EXPECT_EQ(written.changes(1).adjusted_p_value(), .02);
  EXPECT_EQ(written.times_changes(0).measure(), "handling");
  EXPECT_FALSE(written.times_changes(0).has_p_value());
  const v1::TimesChange& times = written.times_changes(1);
  EXPECT_EQ(times.measure(), "days_late");
  EXPECT_EQ(times.verdict(), v1::Change::VERDICT_WORSE);
  EXPECT_EQ(times.p_value(), .03);
  EXPECT_EQ(times.adjusted_p_value(), .04);
  EXPECT_EQ(times.order_count() - times.finished_count(), 2);
  EXPECT_EQ(times.order_count_then() - times.finished_count_then(), 0);
}

TEST(WriteReviewTest, WhatIsAtStakeSaysWhatItLeavesOut) {
  Account account;
  account.at_stake = {Money{1'234, "EUR"}, {"TRY", "VND"}};
  const v1::Account written = Write(account).accounts(0);
  EXPECT_EQ(written.at_stake().minor_units(), 1'234);
  EXPECT_THAT(written.at_stake_left_out(), ElementsAre("TRY", "VND"));
}

TEST(WriteReviewTest, AnAlertOfAPoolNamesItsEnd) {
  ReviewedAccount rest;
  rest.alerts = {{}, {}};
  rest.alerts[1].pool_destination = "NZ";
  rest.alerts[1].pooled = 7;
  const v1::Account written = Write(Account(), rest).accounts(0);
  EXPECT_FALSE(written.alerts(0).has_pool());
  EXPECT_EQ(written.alerts(1).pool().destination(), "NZ");
  EXPECT_EQ(written.alerts(1).pool().origin(), "");
  EXPECT_EQ(written.alerts(1).pooled_lane_count(), 7);
}

TEST(WriteReviewTest, ACopyToShareLeavesOutOurCustomersRefunds) {
  Account account;
  account.period.money["EUR"].refunded_by_shop = 500;
  EXPECT_EQ(Write(account).accounts(0).period().money(0).refunded_by_shop(), 500);
  EXPECT_FALSE(
      Write(account, {}, /*to_share=*/true).accounts(0).period().money(0).has_refunded_by_shop());
}

TEST(WriteEvidenceTest, AnswersWithWhatIsKnownByThen) {
  EvidenceOrder evidence;
  evidence.findings = {"late", "owed"};
  evidence.part.refunds_by_supplier["EUR"] = 900;  // ever
  evidence.part.excuse = "our note";
  evidence.outcome.refunded["EUR"] = 600;  // by then
  evidence.outcome.excuse = "days on this lane";
  v1::EvidenceOrder written;
  WriteEvidence(evidence, &written);
  EXPECT_THAT(written.findings(), ElementsAre("late", "owed"));
  ASSERT_EQ(written.refunds_by_supplier_size(), 1);
  EXPECT_EQ(written.refunds_by_supplier(0).minor_units(), 600);
  EXPECT_EQ(written.excuse(), "days on this lane");
  EXPECT_FALSE(written.has_deliver_time() || written.has_cost() || written.has_owed());
}

// ---- through an engine ------------------------------------------------------------------------

// "S" ships from VN to DE: twelve orders of the shop "harbour" of which four are late, eight of
// "meadow" that are not, "T" one of "harbour" on the same lane. It is the 1st of June, 12:00.
class Reviews : public ::testing::Test {
 protected:
  Reviews() {
    for (int i = 0; i < 21; ++i) {
      OrderBuilder order({i < 12 || i == 20 ? "harbour" : "meadow", absl::StrCat(i)});
      order.Paid("2026-03-01").With([&](Event& event) {
        event.cost = Money{1'000, "EUR"};
        if (i == 20) event.supplier = "T";
      });
      order.Promised("2026-03-10").Shipped("2026-03-03");
      order.Delivered(i < 4 ? "2026-03-12" : "2026-03-08");
      engine_.Submit(order);
    }
  }
  v1::Review Get(const v1::GetReviewRequest& request, absl::StatusCode expected = {}) {
    v1::Review review;
    const absl::Status status =
        GetReview(engine_->Look(), request, At("2026-06-01T12:00"), {}, [&](const auto& part) {
          review.MergeFrom(part);
          return true;
        });
    EXPECT_EQ(status.code(), expected) << status;
    problem_ = std::string(status.message());
    return review;
  }
  std::vector<std::string> Evidence(const v1::GetReviewRequest& request) {
    std::vector<std::string> orders;
    EXPECT_TRUE(ListEvidence(engine_->Look(), request, At("2026-06-01T12:00"),
                             [&](const v1::EvidenceOrder& order) {
                               orders.push_back(order.shop() + " " + order.order_id() + " " +
                                                order.excuse());
                               return true;
                             })
                    .ok());
    return orders;
  }
  RunningEngine engine_;
  std::string problem_;
};

std::string Told(const v1::Account& account) {
  const v1::CountedShare& share = account.period().on_time();
  return absl::StrCat(account.supplier_id(), account.has_lane() ? "@lane" : "", " ",
                      account.period().order_count(), " paid, ", share.hit_count(), " of ",
                      share.order_count(), " late");
}

TEST_F(Reviews, CountTheOrdersOfOneShopAlone) {
  std::vector<std::string> all, shop;
  const v1::Review of_all = Get(March());
  for (const v1::Account& account : of_all.accounts()) all.push_back(Told(account));
  EXPECT_THAT(all, ElementsAre(" 21 paid, 4 of 21 late", "S 20 paid, 4 of 20 late",
                               "T 1 paid, 0 of 1 late", "@lane 21 paid, 4 of 21 late",
                               "S@lane 20 paid, 4 of 20 late", "T@lane 1 paid, 0 of 1 late"));
  v1::GetReviewRequest request = March();
  request.set_shop("harbour");
  const v1::Review review = Get(request);
  EXPECT_EQ(review.shop(), "harbour");
  for (const v1::Account& account : review.accounts()) shop.push_back(Told(account));
  EXPECT_THAT(shop, ElementsAre(" 13 paid, 4 of 13 late", "S 12 paid, 4 of 12 late",
                                "T 1 paid, 0 of 1 late", "@lane 13 paid, 4 of 13 late",
                                "S@lane 12 paid, 4 of 12 late", "T@lane 1 paid, 0 of 1 late"));
  EXPECT_DOUBLE_EQ(review.accounts(1).period().order_share(), 12. / 13);
  EXPECT_EQ(review.accounts(1).period().money(0).paid(), 12'000);
  EXPECT_TRUE(review.accounts(1).period().transit().has_median());
  request.set_supplier("S");
  EXPECT_DOUBLE_EQ(Get(request).accounts(0).period().order_share(), 12. / 13);
  request.set_shop("meadow");
  EXPECT_EQ(Told(Get(request).accounts(0)), "S 8 paid, 0 of 8 late");
  EXPECT_THAT(Evidence(request), IsEmpty());
  request.set_shop("harbour");
  EXPECT_THAT(Evidence(request), SizeIs(4));
}

TEST_F(Reviews, TheSumOfShopsIsTheWhole) {
  const v1::Account whole = Get(March()).accounts(0);
  int64_t orders = 0, late = 0, finished = 0, paid = 0;
  for (const char* shop : {"harbour", "meadow"}) {
    v1::GetReviewRequest request = March();
    request.set_shop(shop);
    const v1::Figures figures = Get(request).accounts(0).period();
    orders += figures.on_time().order_count();
    late += figures.on_time().hit_count();
    finished += figures.delivery().finished_count();
    paid += figures.money(0).paid();
  }
  EXPECT_EQ(orders, whole.period().on_time().order_count());
  EXPECT_EQ(late, whole.period().on_time().hit_count());
  EXPECT_EQ(finished, whole.period().delivery().finished_count());
  EXPECT_EQ(paid, whole.period().money(0).paid());
}

TEST_F(Reviews, OfNobodyAreRefused) {
  v1::GetReviewRequest request = March();
  request.set_shop("nowhere");
  Get(request, absl::StatusCode::kNotFound);
  EXPECT_EQ(problem_, "no order names shop nowhere");
  request.set_shop("harbou");  // the beginning of one
  Get(request, absl::StatusCode::kNotFound);
  request = March();
  request.set_supplier("nobody");
  Get(request, absl::StatusCode::kNotFound);
  EXPECT_THAT(problem_, HasSubstr("supplier nobody"));
}

TEST_F(Reviews, OfAKnownSupplierWithoutOrdersInThePeriodAreEmpty) {
  v1::GetReviewRequest request = March();
  request.set_first_date("2024-01-01");
  request.set_last_date("2024-03-31");
  request.set_supplier("S");
  EXPECT_THAT(Get(request).accounts(), IsEmpty());
}

TEST_F(Reviews, ToShareHoldNoReasonInWordsOfOurOwn) {
  engine_.Forgive({"one", ExcusedOrder{{"harbour", "0"}, 1}, "we forgot to pay, do not say"});
  v1::GetReviewRequest request = March();
  request.set_supplier("S");
  EXPECT_EQ(Get(request).accounts(0).excuses(0).reason(), "we forgot to pay, do not say");
  EXPECT_THAT(Evidence(request), testing::Contains("harbour 0 we forgot to pay, do not say"));
  request.set_to_share(true);
  const v1::Review shared = Get(request);
  EXPECT_EQ(shared.accounts(0).excuses(0).reason(), "single orders");
  EXPECT_THAT(shared.DebugString(), Not(HasSubstr("forgot")));
  EXPECT_THAT(Evidence(request), testing::Contains("harbour 0 single orders"));
}

TEST_F(Reviews, EvidenceAsOfAnEarlierMomentHoldsNothingLater) {
  v1::GetReviewRequest request = March();
  test::Stamp("2026-03-12", request.mutable_as_of_time());
  int seen = 0;
  EXPECT_TRUE(ListEvidence(engine_->Look(), request, At("2026-06-01T12:00"),
                           [&](const v1::EvidenceOrder& order) {
                             EXPECT_FALSE(order.has_deliver_time()) << "delivered on the 12th";
                             EXPECT_TRUE(order.has_ship_time());
                             EXPECT_EQ(order.days_late(), 0) << "a day is left for news to come";
                             return ++seen > 0;
                           })
                  .ok());
  EXPECT_EQ(seen, 4);
}

}  // namespace
}  // namespace plumblane
