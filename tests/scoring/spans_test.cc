// What is gone through again and what is not: answers with and without what is kept are compared by
// model_test.cc.
#include "scoring/spans.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <span>
#include <vector>

namespace plumblane {
namespace {

constexpr Measure kMeasure = Measure::kOnTime;
constexpr KeptSpans::Rules kRules{45, 0};
constexpr int32_t kFirstSpan = 600;
constexpr int32_t kSpans = 8;
constexpr Day kNewest = LastDayOf(kFirstSpan + kSpans - 1) + 5;  // of the span after those

struct OrderSums final : KeptSums {
  int64_t orders = 0;
  size_t bytes() const override { return sizeof *this; }
};

// Counts orders; what ends after `known` is not known yet, and after `may_hold` never kept.
class OrderSum {
 public:
  using Sums = OrderSums;

  explicit OrderSum(Day known, Day may_hold = kNewest) : known_(known), may_hold_(may_hold) {}

  bool MayHold(Day last) const { return last <= may_hold_; }
  bool Holds(const OrderSums& sums) const { return LastDayOf(sums.span) <= known_; }
  void Count(std::span<const Cohort> cohorts, Day anchor) { Add(Make(cohorts, anchor)); }
  OrderSums Make(std::span<const Cohort> cohorts, Day) {
    OrderSums sums;
    for (const Cohort& cohort : cohorts) sums.orders += cohort.cell.counted.entered;
    counted_ += static_cast<int64_t>(cohorts.size());
    return sums;
  }
  void Add(const OrderSums& sums) { total_.orders += sums.orders; }
  void Decay(int32_t days) {
    EXPECT_GE(days, 0);
    decayed_ += days;
  }
  const OrderSums& Total() const { return total_; }

  int64_t counted() const { return counted_; }  // cohorts gone through
  int32_t decayed() const { return decayed_; }

 private:
  const Day known_, may_hold_;
  OrderSums total_;
  int64_t counted_ = 0;
  int32_t decayed_ = 0;
};

class SpansTest : public testing::Test {
 protected:
  SpansTest() {
    for (Day day{kFirstSpan * kSpanDays}; day <= kNewest; day = day + 1) {
      series_.push_back({day, {}});
      series_.back().cell.counted.entered = day.number % 7;
    }
  }

  // Cohorts gone through by a question of that day, to which spans up to `known` are known.
  int64_t Ask(Day newest, Day known, const KeptSpans::Rules& rules = kRules,
              Day may_hold = kNewest) {
    const auto count = static_cast<size_t>(newest - series_.front().day + 1);
    const std::span<const Cohort> cohorts = std::span(series_).first(count);
    OrderSum sum(known, may_hold);
    AddUp(cohorts, newest, kMeasure, rules, &kept_, sum);
    int64_t orders = 0;
    for (const Cohort& cohort : cohorts) orders += cohort.cell.counted.entered;
    EXPECT_EQ(sum.Total().orders, orders);
    return sum.counted();
  }
  int64_t Ask() { return Ask(kNewest, kNewest); }

  void Change(Day day) {
    series_[static_cast<size_t>(day - series_.front().day)].cell.counted.entered += 1;
    kept_.Forget(kMeasure, day);
  }

  static constexpr int64_t kYoungest = 5;  // of the span that is not over
  Series series_;
  KeptSpans kept_;
};

TEST_F(SpansTest, OnlyTheSpanThatIsNotOverIsGoneThroughAgain) {
  EXPECT_EQ(Ask(), kSpans * kSpanDays + kYoungest);
  EXPECT_EQ(Ask(), kYoungest);
}

TEST_F(SpansTest, AllThatIsOlderThanTwoWholeSpansIsOneSum) {
  Ask();
  const auto sums = kept_.Of(kMeasure, kRules);
  ASSERT_NE(sums->before, nullptr);
  EXPECT_EQ(sums->before->span, kFirstSpan + kSpans - kYoungSpans - 1);
  ASSERT_EQ(std::ssize(sums->spans), kYoungSpans);
  EXPECT_EQ(sums->spans[0]->span, kFirstSpan + kSpans - kYoungSpans);
}

TEST_F(SpansTest, AChangeInAYoungSpanHasOnlyThatGoneThrough) {
  Ask();
  Change(LastDayOf(kFirstSpan + kSpans - 1));
  EXPECT_EQ(Ask(), kSpanDays + kYoungest);
  EXPECT_EQ(Ask(), kYoungest);
}

TEST_F(SpansTest, AChangeInWhatIsOlderHasAllOfThatGoneThrough) {
  Ask();
  Change(series_.front().day + 3);
  EXPECT_EQ(Ask(), (kSpans - kYoungSpans) * kSpanDays + kYoungest);
  EXPECT_EQ(Ask(), kYoungest);
}

TEST_F(SpansTest, TimeMovesSpansIntoWhatIsOlderWithoutGoingThroughThem) {
  const Day before = LastDayOf(kFirstSpan + kSpans - 2) + 1;
  Ask(before, before);
  EXPECT_EQ(Ask(), kSpanDays + kYoungest);  // the one that was not over
  EXPECT_EQ(kept_.Of(kMeasure, kRules)->before->span, kFirstSpan + kSpans - kYoungSpans - 1);
}

TEST_F(SpansTest, AnEarlierMomentUsesNothingThatItDoesNotKnowAndForgetsNothing) {
  Ask();
  const Day early = series_.front().day + 3 * kSpanDays + 2;
  EXPECT_EQ(Ask(early, early), early - series_.front().day + 1);
  EXPECT_EQ(Ask(kNewest, early), kNewest - series_.front().day + 1);
  EXPECT_EQ(Ask(), kYoungest);
}

TEST_F(SpansTest, WhatIsOldIsOneSumAsFarAsItHolds) {
  const int64_t all = kNewest - series_.front().day + 1;
  const Day known = LastDayOf(kFirstSpan + 2);
  EXPECT_EQ(Ask(kNewest, known), all);
  ASSERT_NE(kept_.Of(kMeasure, kRules)->before, nullptr);
  EXPECT_EQ(kept_.Of(kMeasure, kRules)->before->span, kFirstSpan + 2);
  EXPECT_EQ(Ask(kNewest, known), all - 3 * kSpanDays);
  // The same where that is not known before it is counted.
  const KeptSpans::Rules other{45, 180};
  EXPECT_EQ(Ask(kNewest, kNewest, other, known), all);
  EXPECT_EQ(Ask(kNewest, kNewest, other, known), all - 3 * kSpanDays);
  EXPECT_EQ(kept_.Of(kMeasure, other)->before->span, kFirstSpan + 2);
}

TEST_F(SpansTest, OtherRulesHaveAllGoneThrough) {
  const int64_t all = Ask();
  for (const KeptSpans::Rules& rules : {KeptSpans::Rules{30, 0}, KeptSpans::Rules{45, 60}}) {
    EXPECT_EQ(Ask(kNewest, kNewest, rules), all);
    EXPECT_EQ(Ask(kNewest, kNewest, rules), kYoungest);
  }
  EXPECT_EQ(Ask(), all);
  EXPECT_EQ(kept_.Of(Measure::kDefect, kRules)->before, nullptr);
}

TEST_F(SpansTest, WhatIsAddedUpIsRelativeToTheNewestDay) {
  OrderSum sum(kNewest);
  AddUp(series_, kNewest + 40, kMeasure, kRules, nullptr, sum);
  EXPECT_EQ(LastDayOf(kFirstSpan) + sum.decayed(), kNewest + 40);
}

TEST_F(SpansTest, BytesAreThoseOfWhatIsKept) {
  const size_t none = kept_.bytes();
  Ask();
  const size_t all = kept_.bytes();
  Change(series_.front().day);
  EXPECT_EQ(kept_.bytes(), all - sizeof(OrderSums));
  for (const int32_t span : {kFirstSpan + kSpans - 2, kFirstSpan + kSpans - 1}) {
    kept_.Forget(kMeasure, LastDayOf(span));
  }
  EXPECT_EQ(kept_.bytes(), none);
}

}  // namespace
}  // namespace plumblane
