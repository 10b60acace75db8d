// What a review adds to its accounts: alerts where they belong, and a currency to compare in.
#include "engine/review.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "engine/shop_cells.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::On;
using test::OrderBuilder;
using testing::ElementsAre;
using testing::IsEmpty;

const Period kQuarter{On("2026-07-01"), On("2026-09-30")};

Account Of(const std::string& supplier, const std::optional<LaneQuery>& lane) {
  Account account;
  account.supplier = supplier;
  account.lane = lane;
  return account;
}

class Told {
 public:
  Told& Add(const std::string& id, const WatchKey& key, const std::string& opened,
            const std::string& closed = "", std::vector<Lane> pooled = {}) {
    ToldAlert alert;
    alert.key = key;
    alert.facts.changed = On(opened) - 7;
    alert.facts.opened = On(opened);
    if (!closed.empty()) alert.facts.closed = On(closed);
    alert.raise_time = At(opened);
    alert.pooled = std::move(pooled);
    told_.by_id[id] = alert;
    return *this;
  }
  std::vector<std::string> Ids(const Account& account,
                               const std::string& last = "2026-12-31") const {
    std::vector<std::string> ids;
    for (const AlertMark& mark : AlertMarksOf(told_, account, kQuarter, On(last))) {
      ids.push_back(mark.alert_id);
    }
    return ids;
  }
  AlertsTold told_;
};

const LaneQuery kToWellington{"VN", "NZ", {}}, kToGalway{"VN", "IE", {}},
    kElsewhere{"PL", "NZ", {}};

TEST(AlertMarksTest, StandWhereTheirSubjectIs) {
  Told told;
  told.Add("lotus", {"lotus", "", "", {}}, "2026-08-01")
      .Add("lane", {"", "VN", "NZ", {}}, "2026-08-02");
  EXPECT_THAT(told.Ids(Of("lotus", {})), ElementsAre("lotus"));
  EXPECT_THAT(told.Ids(Of("", kToWellington)), ElementsAre("lane"));
  EXPECT_THAT(told.Ids(Of("lotus", kToWellington)), IsEmpty()) << "a pair";
  EXPECT_THAT(told.Ids(Of("", {})), IsEmpty()) << "all together";
}

TEST(AlertMarksTest, ThoseOfAPoolStandWithEachOfItsLanes) {
  Told told;
  told.Add("to", {"", "", "NZ", {}}, "2026-08-01", "",
           {{"PL", "NZ", ""}, {"VN", "NZ", ""}, {"VN", "NZ", "express"}})
      .Add("from", {"", "VN", "", {}}, "2026-07-01", "2026-07-09", {{"VN", "IE", ""}});
  EXPECT_THAT(told.Ids(Of("", kToWellington)), ElementsAre("to"));
  EXPECT_THAT(told.Ids(Of("", kElsewhere)), ElementsAre("to"));
  EXPECT_THAT(told.Ids(Of("", kToGalway)), ElementsAre("from"));
  EXPECT_THAT(told.Ids(Of("", LaneQuery{"TR", "NZ", {}})), IsEmpty()) << "not in the pool";
  EXPECT_THAT(told.Ids(Of("lotus", {})), IsEmpty());
  const AlertMark mark =
      AlertMarksOf(told.told_, Of("", kElsewhere), kQuarter, On("2026-12-31")).at(0);
  EXPECT_EQ(mark.pool_origin, "");
  EXPECT_EQ(mark.pool_destination, "NZ");
  EXPECT_EQ(mark.pooled, 3);
}

TEST(AlertMarksTest, OnlyOfThePeriod) {
  Told told;
  const std::vector<Lane> lanes = {{"VN", "NZ", ""}};
  told.Add("closed before", {"", "", "NZ", {}}, "2026-05-01", "2026-06-30", lanes)
      .Add("from before", {"", "", "NZ", {}}, "2026-05-02", "2026-07-01", lanes)
      .Add("within", {"", "", "NZ", {}}, "2026-08-01", "", lanes)
      .Add("after", {"", "", "NZ", {}}, "2026-10-01", "", lanes);
  EXPECT_THAT(told.Ids(Of("", kToWellington)), ElementsAre("from before", "within"));
  EXPECT_THAT(told.Ids(Of("", kToWellington), "2026-07-15"), ElementsAre("from before"))
      << "as of a moment before the other was raised";
}

TEST(ReviewCurrencyTest, IsThatOfTheCostsOrTheOnlyOnePaidIn) {
  Portions euros, both;
  euros.paid["lotus"] = {{"EUR", 100}};
  both.paid["lotus"] = {{"EUR", 100}};
  both.paid["amber"] = {{"USD", 100}};
  EXPECT_EQ(ChooseCurrency(both, "SEK", false).code, "SEK");
  EXPECT_EQ(ChooseCurrency(euros, "", false).code, "EUR");
  EXPECT_EQ(ChooseCurrency(both, "", false).code, "");
  EXPECT_THAT(ChooseCurrency(both, "", false).problem, testing::HasSubstr("cost settings"));
  EXPECT_THAT(ChooseCurrency(both, "", true).problem, testing::Not(testing::HasSubstr("cost")))
      << "a supplier is not told that there are any";
  EXPECT_EQ(ChooseCurrency({}, "", false).problem, "");
}

TEST(ShopCellsTest, AreTheSumOfTheOrdersThatWereAddedWithinTheDays) {
  Cells all;
  ShopCells one, two;
  const std::vector<Period> ranges = {{On("2026-03-01"), On("2026-03-31")},
                                      {On("2026-06-01"), On("2026-06-30")}};
  for (int i = 0; i < 8; ++i) {
    OrderBuilder order({"harbour", std::to_string(i)});
    order.Paid(i == 7 ? "2026-05-20" : "2026-03-01").Promised(i == 6 ? "2026-06-02" : "2026-03-09");
    order.Shipped("2026-03-0" + std::to_string(1 + i)).Delivered("2026-03-12");
    for (const PartState& part : order.Fold().parts) {
      (i % 2 == 0 ? one : two).Add(part, ranges);
      for (const Entry& entry : part.entries) all.Add(part.pair(), entry, 1);
    }
  }
  one.Add(two);
  const Pair pair{"S", {"VN", "DE", ""}};
  const MeasureSet cells = one.Of(pair);
  size_t seen = 0;
  for (const auto& [key, cell] : all.map()) {
    const bool within = ranges[0].Contains(key.day) || ranges[1].Contains(key.day);
    if (key.pair != pair || !within) continue;
    const Series& series = cells[key.measure];
    const auto at = std::find_if(series.begin(), series.end(),
                                 [&](const Cohort& cohort) { return cohort.day == key.day; });
    ASSERT_NE(at, series.end());
    EXPECT_EQ(at->cell, cell);
    ++seen;
  }
  size_t made = 0;
  for (const Series& series : cells.series) made += series.size();
  EXPECT_EQ(made, seen);
  EXPECT_GT(seen, 10u);
  EXPECT_EQ(one.Of({"T", pair.lane}).series, MeasureSet().series);
}

}  // namespace
}  // namespace plumblane
