// What a review says: review_words.h, review_figures.h, review_pictures.h and review_model.h.

#include "client/review_model.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>

#include "client/review_figures.h"
#include "client/review_pictures.h"
#include "client/review_sample.h"
#include "client/review_words.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::StartsWith;

const v1::Account& SupplierOf(const v1::Review& review) { return review.accounts(1); }

// "now | before" of the line with that label, "none" without one.
std::string Row(const std::vector<FigureRow>& rows, const std::string& label) {
  for (const FigureRow& row : rows) {
    if (row.label == label) return row.now + " | " + row.before;
  }
  return "none";
}

std::vector<std::string> Texts(const std::vector<View>& views, const std::string& name) {
  std::vector<std::string> texts;
  for (const View& view : views) texts.push_back(view.texts.at(name));
  return texts;
}

TEST(ReviewWordsTest, SharesSayWhatIsBehindThem) {
  v1::CountedShare share;
  EXPECT_EQ(ShareText(share), "no orders due");
  share.set_order_count(3);
  share.set_observed(2.0 / 3);
  share.set_low(0.208);
  share.set_high(0.939);
  share.set_too_thin(true);
  EXPECT_EQ(ShareText(share), "67 % (21-94) of 3, too thin");
}

TEST(ReviewWordsTest, ChangesAreToldWithVerdictAndDoubt) {
  const v1::Review review = SampleReview();
  EXPECT_EQ(
      ChangeText(SupplierOf(review).changes(0)),
      "late: 29 % (107 of 375), the period before 6.8 % (24 of 352); +22 points (+16 to +27), "
      "worse, adjusted p <0.001");
  EXPECT_EQ(ChangeText(SupplierOf(review).changes(1)),
            "bad or lost, of orders whose claim window is over: 12 % (1 of 8), the period before "
            "2.8 % (10 of 354); too thin to compare");
}

TEST(ReviewWordsTest, ChangesOfTimesAreToldWithBothPeriods) {
  const v1::Review review = SampleReview();
  const v1::Account& account = SupplierOf(review);
  EXPECT_EQ(TimesChangeText(account.times_changes(0), account),
            "travels 10 / 15 d of 350, the period before 8.0 / 12 d of 340; longer to travel, "
            "adjusted p 0.012");
  EXPECT_EQ(TimesDifferenceText(account.times_changes(0), account), "half +2.0 d, 90 % +3.0 d");
  EXPECT_EQ(TimesChangeText(account.times_changes(1), account),
            "days late, on average 3.1 of 78, the period before 2.5 of 24; no more than chance, "
            "adjusted p 0.40");
  EXPECT_EQ(TimesDifferenceText(account.times_changes(1), account), "+0.6 days");
  EXPECT_EQ(TimesChangeText(account.times_changes(2), account),
            "ships within -, the period before -; too thin to compare");
  v1::TimesChange year_ago = account.times_changes(0);
  year_ago.set_against(v1::Change::AGAINST_YEAR_AGO);
  EXPECT_THAT(TimesChangeText(year_ago, account), HasSubstr("of 350, a year ago "));
  v1::TimesChange shorter = account.times_changes(0);
  shorter.set_verdict(v1::Change::VERDICT_BETTER);
  EXPECT_EQ(TimesChangeName(shorter), "shorter to travel");
}

TEST(ReviewWordsTest, AnAlertOfAPoolIsToldAsOne) {
  v1::AlertMark alert = SupplierOf(SampleReview()).alerts(0);
  alert.mutable_pool()->set_destination("NZ");
  alert.set_pooled_lane_count(7);
  EXPECT_THAT(AlertMarkText(alert),
              testing::StartsWith("one of 7 slow lanes to NZ, together late since about"));
  alert.mutable_pool()->clear_destination();
  alert.mutable_pool()->set_origin("VN");
  EXPECT_THAT(AlertMarkText(alert), testing::StartsWith("one of 7 slow lanes from VN, together"));
}

TEST(ReviewWordsTest, WhatAPointIsWorthSaysHowItIsMeant) {
  const v1::Review review = SampleReview();
  EXPECT_EQ(StakeText(SupplierOf(review).points(0)), "408.92 EUR at stake");
  EXPECT_EQ(StakeText(SupplierOf(review).points(1)), "152.87 EUR paid for these orders");
  EXPECT_EQ(StakeText(SupplierOf(review).points(2)), "");
}

TEST(ReviewWordsTest, ASavingThatCostsSaysSo) {
  v1::Assigned assigned = SupplierOf(SampleReview()).assigned();
  EXPECT_EQ(AssignedText(assigned),
            "12 orders, 3 as trials, 2 by a person's own choice; expected when decided to save "
            "41.20 EUR against always the cheapest quote (10 orders)");
  assigned.mutable_savings(0)->set_expected_saving(-4120);
  EXPECT_THAT(AssignedText(assigned), HasSubstr("to cost 41.20 EUR more than always the cheapest"));
}

TEST(ReviewFiguresTest, EveryFigureWithItsPeriods) {
  const auto rows = FigureRows(SupplierOf(SampleReview()), /*to_share=*/false);
  EXPECT_EQ(Row(rows, "orders paid"), "406 | 370");
  EXPECT_EQ(Row(rows, "on time"), "71 % (67-76) of 375 | 93 % (90-95) of 352");
  EXPECT_EQ(Row(rows, "on time, excused orders counted too"), "71 % (66-75) of 377 | ");
  EXPECT_EQ(Row(rows, "came late"), "107 | 24");
  EXPECT_EQ(Row(rows, "days late, on average"), "3.1 of 78 | 2.5 of 24");
  EXPECT_EQ(Row(rows, "of these"), "damaged 7, lost 5 | damaged 4");
  EXPECT_EQ(Row(rows, "claim window still open"), "261 | 0");
  EXPECT_EQ(Row(rows, "travels"), "10 / 15 d of 350 | 8.0 / 12 d of 340");
  EXPECT_EQ(Row(rows, "charged"), "102.30 EUR for 100.00 EUR quoted, +2.3 %, 41 orders | ");
  EXPECT_EQ(Row(rows, "still owed"), "231.39 EUR, 21 orders | ");
  EXPECT_EQ(Row(rows, "share of all orders paid"), "29 % | ");
}

TEST(ReviewFiguresTest, WhatNobodyKnowsHasNoLine) {
  const auto rows = FigureRows(SampleReview().accounts(2), /*to_share=*/false);
  EXPECT_EQ(Row(rows, "on time"), "100 % (21-100) of 1, too thin | ");
  EXPECT_EQ(Row(rows, "travels"), "none");
  EXPECT_EQ(Row(rows, "days late, on average"), "none");
  EXPECT_EQ(Row(rows, "still owed"), "none");
}

TEST(ReviewFiguresTest, WhereOrdersAreNoLongerKeptThereIsNoZero) {
  v1::Account account = SupplierOf(SampleReview());
  v1::MoneyFigures& then = *account.mutable_before()->add_money();
  then.set_currency_code("EUR");
  auto rows = FigureRows(account, /*to_share=*/false);
  EXPECT_EQ(Row(rows, "out of stock"), "5 | ");
  EXPECT_EQ(Row(rows, "claimed from the supplier"), "379.10 EUR | ");
  EXPECT_EQ(Row(rows, "charged more than quoted"), "2.50 EUR, 3 orders | ");
  account.mutable_before()->set_out_of_stock_count(0);
  then.set_claimed(0);
  rows = FigureRows(account, /*to_share=*/false);
  EXPECT_EQ(Row(rows, "out of stock"), "5 | 0");
  EXPECT_EQ(Row(rows, "claimed from the supplier"), "379.10 EUR | 0.00 EUR");
}

TEST(ReviewFiguresTest, ACopyToShareTellsNothingOfOurCustomersRefunds) {
  const v1::Account account = SupplierOf(SampleReview());
  EXPECT_EQ(Row(FigureRows(account, false), "refunded by the shop"), "225.30 EUR | ");
  EXPECT_EQ(Row(FigureRows(account, true), "refunded by the shop"), "none");
}

TEST(ReviewPicturesTest, WeeksAreDrawnAndSaidInWords) {
  const v1::Review review = SampleReview();
  const auto picture = WeeksPicture(review.accounts(0), review.period(), "a1");
  ASSERT_TRUE(picture);
  EXPECT_EQ(picture->texts.at("words"),
            "2 weeks with orders; lowest 61 % of 41 in the week of 2026-07-06, highest 95 % of 40 "
            "in the week of 2026-06-29");
  const auto alerted = WeeksPicture(SupplierOf(review), review.period(), "s1");
  EXPECT_THAT(Texts(alerted->lists.at("shapes"), "kind"), testing::Contains("alert-flag"));
  EXPECT_THAT(alerted->texts.at("words"), HasSubstr("late since about 2026-08-03"));
}

TEST(ReviewPicturesTest, ALegendNamesOnlyWhatIsDrawn) {
  v1::Account account = SupplierOf(SampleReview());
  const auto legends = [&] {
    return TransitPicture(account, "t")->texts.at("legend") + " | " +
           KindsPicture(account, "k")->texts.at("legend");
  };
  EXPECT_EQ(legends(),
            "share arrived, by days after shipping; solid: this period; dashed: the one before | "
            "orders; thin: the period before");
  account.clear_before();
  account.clear_transit_curve_before();
  EXPECT_EQ(legends(), "share arrived, by days after shipping; solid: this period | orders");
  *account.mutable_transit_curve_before() = account.transit_curve();
  account.clear_transit_curve();
  EXPECT_EQ(TransitPicture(account, "t")->texts.at("legend"),
            "share arrived, by days after shipping; dashed: the one before");
}

TEST(ReviewPicturesTest, NothingToShowIsNoPicture) {
  const v1::Review review = SampleReview();
  EXPECT_FALSE(WeeksPicture(review.accounts(3), review.period(), "x"));
  EXPECT_FALSE(TransitPicture(review.accounts(3), "x"));
  EXPECT_FALSE(KindsPicture(review.accounts(3), "x"));
  EXPECT_FALSE(CostsPicture(review.accounts(3), "EUR", "x"));
}

TEST(ReviewPicturesTest, BarsCarryTheirCountsAndThoseBefore) {
  const auto picture = KindsPicture(SupplierOf(SampleReview()), "k");
  ASSERT_TRUE(picture);
  EXPECT_EQ(picture->texts.at("words"), "damaged 7, before 4; lost 5");
  EXPECT_THAT(Texts(picture->lists.at("labels"), "label"),
              ElementsAre("damaged", "7", "lost", "5"));
}

TEST(ReviewPicturesTest, CostsLeaveOutWhatIsNotKnownAndSaySo) {
  const auto picture = CostsPicture(SupplierOf(SampleReview()), "EUR", "c");
  ASSERT_TRUE(picture);
  EXPECT_EQ(picture->texts.at("words"), "late 310.00 EUR; lost 98.92 EUR");
  EXPECT_THAT(picture->texts.at("legend"), HasSubstr("left out: 2 orders"));
}

TEST(ReviewModelTest, BeginsWithWhatToDecide) {
  const View view = ReviewModel(SampleReview());
  const std::vector<View>& raise = view.lists.at("raise");
  ASSERT_EQ(raise.size(), 1);
  EXPECT_THAT(Texts(raise[0].lists.at("raised"), "stake_amount"),
              ElementsAre("408.92 EUR", "152.87 EUR", ""));
  EXPECT_THAT(Texts(raise[0].lists.at("well"), "sentence"), ElementsAre("None got lost."));
  EXPECT_THAT(Texts(view.lists.at("worse"), "difference"),
              ElementsAre("+22 points (+16 to +27)", "half +2.0 d, 90 % +3.0 d"));
  EXPECT_EQ(Texts(view.lists.at("worse"), "hit")[1], "longer to travel");
  EXPECT_THAT(view.lists.at("better"), IsEmpty());
  EXPECT_EQ(view.texts.at("other_changes"),
            "1 other comparison shows no more than chance. 2 comparisons had too few orders to be "
            "made. They stand with each account; those of a supplier on one lane only in the CSV "
            "and JSON forms of this review.");
}

TEST(ReviewModelTest, SuppliersStandByTheirMoney) {
  v1::Review review = SampleReview();
  v1::Account* richer = review.add_accounts();
  *richer = SupplierOf(review);
  richer->set_supplier_id("richer");
  richer->mutable_at_stake()->set_minor_units(90'000);
  v1::Account* unknown = review.add_accounts();
  *unknown = SupplierOf(review);
  unknown->set_supplier_id("unknown");
  unknown->clear_at_stake();
  unknown->add_at_stake_left_out("VND");
  unknown->add_at_stake_left_out("TRY");
  const View view = ReviewModel(review);
  EXPECT_THAT(Texts(view.lists.at("raise"), "name"),
              ElementsAre("richer", kHostileSupplier, "unknown"));
  EXPECT_THAT(
      Texts(view.lists.at("raise"), "left_out"),
      ElementsAre("", "", "Its place leaves out amounts in VND, TRY: there is no rate to EUR."));
  EXPECT_THAT(view.texts.at("raise_order"), HasSubstr("the most money first"));
}

TEST(ReviewModelTest, WithoutACommonCurrencyItIsNotByMoneyAndSaysWhy) {
  v1::Review review = SampleReview();
  review.clear_currency_code();
  review.set_currency_problem("orders were paid in several currencies");
  EXPECT_EQ(ReviewModel(review).texts.at("raise_order"),
            "Supplier by supplier, by name and not by money: orders were paid in several "
            "currencies.");
}

TEST(ReviewModelTest, AShopIsSaid) {
  v1::Review review = SampleReview();
  review.set_supplier("lotus");
  review.set_shop("harbour");
  EXPECT_EQ(ReviewModel(review).texts.at("scope"), "lotus, shop harbour");
}

TEST(ReviewModelTest, ALaneWithOneOrderIsTooThinToJudge) {
  const View view = ReviewModel(SampleReview());
  EXPECT_THAT(Texts(view.lists.at("thin"), "name"), ElementsAre("PL-NZ"));
  EXPECT_THAT(Texts(view.lists.at("thin"), "due"), ElementsAre("1 order due"));
}

TEST(ReviewModelTest, ProvisionalUntilADay) {
  v1::Review review = SampleReview();
  EXPECT_THAT(ReviewModel(review).texts.at("provisional"), HasSubstr("Final from 2026-12-01"));
  review.set_provisional(false);
  EXPECT_EQ(ReviewModel(review).texts.at("provisional"), "");
}

// 60 suppliers of which the later have more at stake, 60 lanes, 600 pairs.
v1::Review LargeReview() {
  const v1::Review sample = SampleReview();
  v1::Review review = sample;
  review.clear_accounts();
  *review.add_accounts() = sample.accounts(0);
  const auto add = [&](int kind, int index) -> v1::Account& {
    v1::Account& account = *review.add_accounts();
    account = sample.accounts(kind);
    if (kind != 2) account.set_supplier_id(absl::StrCat("s", index));
    if (kind != 1) account.mutable_lane()->set_destination(absl::StrCat("D", index));
    account.mutable_period()->set_order_count(100 + index);
    return account;
  };
  for (int i = 0; i < 60; ++i) {
    add(1, i).mutable_at_stake()->set_minor_units(50'000 + i);
  }
  for (int i = 0; i < 60; ++i) add(2, i);
  for (int i = 0; i < 600; ++i) add(3, i);
  return review;
}

TEST(ReviewModelTest, OfVeryManyAccountsThoseWithTheMostAtStakeAreToldInFull) {
  const View view = ReviewModel(LargeReview());
  EXPECT_EQ(view.lists.at("raise").size(), kMostInFull);
  EXPECT_EQ(view.lists.at("raise").front().texts.at("name"), "s59");
  EXPECT_THAT(view.texts.at("raise_rest"), StartsWith("20 more suppliers are left out here"));
  ASSERT_EQ(view.lists.at("suppliers").size(), kMostInFull);
  EXPECT_EQ(view.lists.at("suppliers").front().texts.at("name"), "s20");
  EXPECT_EQ(view.lists.at("supplier_glance").size(), 60);
  EXPECT_THAT(view.texts.at("suppliers_rest"), HasSubstr("of 20 other suppliers the CSV"));
  ASSERT_EQ(view.lists.at("lanes").size(), kMostInFull);
  EXPECT_EQ(view.lists.at("multiples").size(), kMostInFull);
  EXPECT_EQ(view.lists.at("pair_glance").size(), kMostRows);
  EXPECT_THAT(view.texts.at("pairs_rest"), StartsWith("100 more pairs are left out here"));
}

TEST(ReviewModelTest, OfFewAccountsNothingIsLeftOut) {
  const View view = ReviewModel(SampleReview());
  for (const std::string list :
       {"raise", "worse", "better", "suppliers", "lanes", "pairs", "thin"}) {
    EXPECT_EQ(view.texts.at(list + "_rest"), "") << list;
  }
}

TEST(ReviewModelTest, WithoutOrdersItSaysSo) {
  v1::Review review = SampleReview();
  review.clear_accounts();
  EXPECT_THAT(ReviewModel(review).texts.at("empty"), HasSubstr("no orders"));
  EXPECT_THAT(ReviewModel(review).lists.at("raise"), IsEmpty());
}

}  // namespace
}  // namespace plumblane::client
