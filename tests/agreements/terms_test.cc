// Terms: months that start on a day of their own, pauses, and the terms that hold.
#include "agreements/terms.h"

#include <gtest/gtest.h>

namespace plumblane {
namespace {

Day On(const char* date) { return *ParseDay(date); }

TEST(Month, BeginsOnItsDayAndEndsBeforeTheNext) {
  struct Case {
    int start_day;
    const char* day;
    const char* first;
    const char* next;
  };
  for (const Case& c : std::vector<Case>{{1, "2026-03-01", "2026-03-01", "2026-04-01"},
                                         {1, "2026-03-31", "2026-03-01", "2026-04-01"},
                                         {1, "2026-02-28", "2026-02-01", "2026-03-01"},
                                         {1, "2028-02-29", "2028-02-01", "2028-03-01"},
                                         {1, "2026-12-31", "2026-12-01", "2027-01-01"},
                                         {15, "2026-03-14", "2026-02-15", "2026-03-15"},
                                         {15, "2026-03-15", "2026-03-15", "2026-04-15"},
                                         {15, "2026-01-14", "2025-12-15", "2026-01-15"},
                                         {28, "2026-03-27", "2026-02-28", "2026-03-28"},
                                         {28, "2026-03-28", "2026-03-28", "2026-04-28"},
                                         {28, "2026-02-28", "2026-02-28", "2026-03-28"},
                                         {28, "2028-02-29", "2028-02-28", "2028-03-28"},
                                         {28, "2026-12-30", "2026-12-28", "2027-01-28"},
                                         {28, "2027-01-01", "2026-12-28", "2027-01-28"}}) {
    const Month month = MonthOf(On(c.day), c.start_day);
    EXPECT_EQ(FormatDay(month.first), c.first) << c.day << " from the " << c.start_day;
    EXPECT_EQ(FormatDay(month.next), c.next) << c.day << " from the " << c.start_day;
  }
}

TEST(Month, FollowsTheOneBeforeWithoutAGap) {
  for (const int start_day : {1, 2, 15, 28}) {
    Month month = MonthOf(On("2026-01-01"), start_day);
    for (Day day = On("2026-01-01"); day < On("2030-01-01"); day = day + 1) {
      const Month now = MonthOf(day, start_day);
      ASSERT_EQ(now.first, day < month.next ? month.first : month.next) << FormatDay(day);
      ASSERT_TRUE(now.first <= day && day < now.next) << FormatDay(day);
      ASSERT_TRUE(28 <= now.next - now.first && now.next - now.first <= 31) << FormatDay(day);
      month = now;
    }
  }
}

TEST(Month, TheFirstThereIsMayBeginBefore1970) {
  EXPECT_EQ(MonthOf(Day{0}, 28).first, Day{-4});
  EXPECT_EQ(MonthOf(Day{0}, 28).next, Day{27});
  EXPECT_EQ(MonthOf(Day{0}, 1).first, Day{0});
}

TEST(Terms, TheLastLoadedHoldAsAWhole) {
  TermsBook book;
  EXPECT_EQ(book.Find("lotus"), nullptr);
  Terms first;
  first.supplier = "lotus";
  first.monthly_order_limit = 40;
  first.claim_days = 30;
  Terms second;
  second.supplier = "lotus";
  second.claim_days = 60;
  Terms other;
  other.supplier = "amber";
  book.Load({first, other}, Instant{1});
  EXPECT_EQ(*book.Find("lotus"), (HeldTerms{first, Instant{1}}));
  book.Load({second}, Instant{2});
  EXPECT_EQ(*book.Find("lotus"), (HeldTerms{second, Instant{2}}));
  EXPECT_EQ(*book.Find("amber"), (HeldTerms{other, Instant{1}}));
  EXPECT_EQ(book.all().at("lotus").size(), 2u);
  EXPECT_EQ(book.all().at("lotus")[0], (HeldTerms{first, Instant{1}}));
}

TEST(Pause, HoldsUntilItsDayOrUntilResumed) {
  TermsBook book;
  EXPECT_EQ(book.PausedOn("lotus", Day{10}), nullptr);
  const Pause with_end{"lotus", true, Day{20}, "stock taking"};
  book.Put(with_end);
  ASSERT_NE(book.PausedOn("lotus", Day{19}), nullptr);
  EXPECT_EQ(*book.PausedOn("lotus", Day{19}), with_end);
  EXPECT_EQ(book.PausedOn("lotus", Day{20}), nullptr);
  EXPECT_EQ(book.PausedOn("amber", Day{10}), nullptr);
  book.Put({"lotus", true, {}, ""});
  EXPECT_NE(book.PausedOn("lotus", Day{20}), nullptr);
  EXPECT_NE(book.PausedOn("lotus", Day{20'000}), nullptr);
  book.Put({"lotus", false, {}, ""});
  EXPECT_EQ(book.PausedOn("lotus", Day{10}), nullptr);
}

TEST(Pause, StaysWhenTermsAreLoadedAndNeedsNone) {
  TermsBook book;
  book.Put({"lotus", true, {}, ""});
  EXPECT_EQ(book.Find("lotus"), nullptr);
  Terms terms;
  terms.supplier = "lotus";
  book.Load({terms}, Instant{1});
  EXPECT_NE(book.PausedOn("lotus", Day{10}), nullptr);
}

}  // namespace
}  // namespace plumblane
