// What is called a change, and which items spoil a rate: one test per rule of changes.h.
#include "review/changes.h"

#include <gtest/gtest.h>

#include <vector>

namespace plumblane {
namespace {

Account Between(const HitCount& late, const HitCount& late_before) {
  Account account;
  account.supplier = "lotus";
  account.period.late = late;
  account.before.emplace();
  account.before->late = late_before;
  return account;
}

TEST(ChangesTest, OfEnoughOrdersAreJudged) {
  const struct {
    HitCount now, then;
    Change::Verdict verdict;
  } rows[] = {
      {{100, 40}, {100, 10}, Change::Verdict::kWorse},
      {{100, 10}, {100, 40}, Change::Verdict::kBetter},
      {{100, 12}, {100, 10}, Change::Verdict::kNoMoreThanChance},
      {{100, 10}, {100, 10}, Change::Verdict::kNoMoreThanChance},
      {{9, 9}, {100, 0}, Change::Verdict::kTooThin},
      {{100, 40}, {9, 0}, Change::Verdict::kTooThin},
      {{10, 9}, {10, 0}, Change::Verdict::kWorse},
  };
  for (const auto& row : rows) {
    std::vector<Account> accounts = {Between(row.now, row.then)};
    JudgeChanges(accounts);
    const Change& change = accounts[0].changes.at(0);
    EXPECT_EQ(change.measure, Measure::kOnTime);
    EXPECT_EQ(change.verdict, row.verdict) << row.now.hits << " then " << row.then.hits;
    EXPECT_EQ(change.comparison.has_value(), row.verdict != Change::Verdict::kTooThin);
  }
}

TEST(ChangesTest, AreLessCertainAmongMany) {
  // 20 of 100 and 9 of 100: p = .028 alone, and much more among 20 that are all alike.
  std::vector<Account> alone = {Between({100, 20}, {100, 9})};
  EXPECT_EQ(JudgeChanges(alone), 1u);
  EXPECT_EQ(alone[0].changes[0].verdict, Change::Verdict::kWorse);
  std::vector<Account> many(20, Between({100, 10}, {100, 10}));
  many[7] = Between({100, 20}, {100, 9});
  EXPECT_EQ(JudgeChanges(many), 20u);
  EXPECT_EQ(many[7].changes[0].verdict, Change::Verdict::kNoMoreThanChance);
  EXPECT_EQ(many[7].changes[0].comparison, alone[0].changes[0].comparison);
}

TEST(ChangesTest, OfDefectsAreOfOrdersWhoseClaimWindowIsOver) {
  Account account = Between({100, 0}, {100, 0});
  account.period.defect = {200, 3};
  account.period.mature_defect = {50, 1};
  account.before->defect = account.before->mature_defect = {100, 20};
  std::vector<Account> accounts = {account};
  JudgeChanges(accounts);
  const Change& change = accounts[0].changes.at(1);
  EXPECT_EQ(change.measure, Measure::kDefect);
  EXPECT_EQ(change.now, (HitCount{50, 1}));
  EXPECT_EQ(change.then, (HitCount{100, 20}));
}

TEST(ChangesTest, OfTimesAreJudgedAmongAllOthers) {
  Account account = Between({100, 10}, {100, 10});
  account.times_changes = {
      {.comparison = TimesComparison{true, .03}}, {.comparison = TimesComparison{false, .02}}, {}};
  std::vector<Account> accounts = {account};
  EXPECT_EQ(JudgeChanges(accounts), 3u);
  const std::vector<TimesChange>& changes = accounts[0].times_changes;
  EXPECT_NEAR(changes[0].adjusted_p, .045, 1e-12);
  EXPECT_EQ(changes[0].verdict, Change::Verdict::kWorse);
  EXPECT_NEAR(changes[1].adjusted_p, .045, 1e-12) << "3 times .02 is more than 3/2 times .03";
  EXPECT_EQ(changes[1].verdict, Change::Verdict::kBetter);
  EXPECT_EQ(changes[2].verdict, Change::Verdict::kTooThin);
  // Among nineteen more that are alike, .03 is no more than chance.
  accounts.assign(20, Between({100, 10}, {100, 10}));
  accounts[3] = account;
  EXPECT_EQ(JudgeChanges(accounts), 22u);
  EXPECT_EQ(accounts[3].times_changes[0].verdict, Change::Verdict::kNoMoreThanChance);
}

TEST(ChangesTest, WithoutAnotherPeriodThereAreNone) {
  std::vector<Account> accounts(1);
  accounts[0].period.late = {100, 50};
  EXPECT_EQ(JudgeChanges(accounts), 0u);
  EXPECT_TRUE(accounts[0].changes.empty());
}

TEST(ChangesTest, AnItemSpoilsARateWhenItIsWorseThanTheOthers) {
  Account account;
  account.supplier = "lotus";
  account.item_counts["bad"] = {{40, 20}, {40, 0}};
  account.item_counts["good"] = {{200, 10}, {200, 0}};
  account.item_counts["rare"] = {{9, 9}, {9, 9}};
  account.item_counts[""] = {{50, 2}, {50, 0}};
  std::vector<Account> accounts = {account};
  // Two items of enough orders, two rates; what has no item is compared with, not looked at.
  EXPECT_EQ(JudgeChanges(accounts), 4u);
  ASSERT_EQ(accounts[0].items.size(), 1u);
  EXPECT_EQ(accounts[0].items[0].item, "bad");
  EXPECT_EQ(accounts[0].items[0].others, (HitCount{259, 21}));
}

}  // namespace
}  // namespace plumblane
