// Numbers, times and tables as they are shown: text.h and table.h.

#include "client/text.h"

#include <gmock/gmock.h>

#include "client/show.h"
#include "client/support.h"
#include "client/table.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

google::protobuf::Duration Seconds(int64_t seconds) {
  google::protobuf::Duration duration;
  duration.set_seconds(seconds);
  return duration;
}

std::string TimeTextOf(const std::string& text) {
  return TimeText(ToTimestamp(*ParseInstant(text)));
}

TEST(TextTest, CountsHaveThousands) {
  EXPECT_EQ(Thousands(0), "0");
  EXPECT_EQ(Thousands(999), "999");
  EXPECT_EQ(Thousands(8412), "8,412");
  EXPECT_EQ(Thousands(-1234567), "-1,234,567");
  EXPECT_EQ(Thousands(-123), "-123");
  EXPECT_EQ(Counted(1, "order"), "1 order");
  EXPECT_EQ(Counted(0, "order"), "0 orders");
  EXPECT_EQ(Counted(2, "day of grace", "days of grace"), "2 days of grace");
}

TEST(TextTest, SharesHaveDecimalsOnlyNearTheEnds) {
  const std::pair<double, std::string> cases[] = {
      {0, "0 %"},         {0.0004, "<0.1 %"}, {0.004, "0.4 %"}, {0.0163, "1.6 %"},
      {0.0994, "9.9 %"},  {0.0999, "10 %"},   {0.92, "92 %"},   {0.9904, "99 %"},
      {0.9912, "99.1 %"}, {0.9999, "99.9 %"}, {1, "100 %"}};
  for (const auto& [share, text] : cases) EXPECT_EQ(Percent(share), text) << share;
}

TEST(TextTest, RateCarriesIntervalAndOrders) {
  EXPECT_EQ(RateText(RateOf(92, 88, 95, 412)), "92 % (88-95) of 412");
  EXPECT_EQ(RateText(RateOf(1.5, 0.2, 4.2, 1531)), "1.5 % (0.2-4.2) of 1,531");
}

TEST(TextTest, NoDataIsNotZero) {
  EXPECT_EQ(RateText(v1::Rate()), "no orders yet");
  EXPECT_EQ(RateText(RateOf(95, 80, 99, 0)), "no orders yet");  // a prior is no evidence
  EXPECT_EQ(ShortTimes(v1::Times()), "no orders yet");
  EXPECT_EQ(LongTimes(v1::Times()), "no orders yet");
}

TEST(TextTest, ThinIsWhatWeighsLessThanTenOrders) {
  EXPECT_TRUE(IsThin(v1::Rate()));
  EXPECT_TRUE(IsThin(RateOf(92, 60, 99, 400, 9.5)));
  EXPECT_FALSE(IsThin(RateOf(92, 60, 99, 11, 10.5)));
}

TEST(TextTest, TimesSayWhatIsNotReached) {
  EXPECT_EQ(ShortTimes(TimesOf(67, 125, 40)), "2.8 / 5.2 d");
  EXPECT_EQ(ShortTimes(TimesOf(11, 50, 40)), "11 h / 2.1 d");
  EXPECT_EQ(ShortTimes(TimesOf(67, 0, 40)), "2.8 d / -");
  EXPECT_EQ(ShortTimes(TimesOf(0, 0, 40)), "not reached");
  EXPECT_EQ(LongTimes(TimesOf(67, 125, 40)),
            "half within 2.8 d, 9 in 10 within 5.2 d; 20 of 40 done");
  EXPECT_EQ(LongTimes(TimesOf(67, 0, 40)), "half within 2.8 d, 9 in 10 not reached; 20 of 40 done");
  EXPECT_EQ(LongTimes(TimesOf(0, 0, 40)), "half not reached; 20 of 40 done");
}

TEST(TextTest, WhatIsNotReachedIsLongerThanOrdersWereWatched) {
  const auto watched = [](v1::Times times) {
    *times.mutable_longest_watch() = Seconds(41 * 86'400 + 80'000);  // 41.9 days
    return times;
  };
  EXPECT_EQ(ShortTimes(watched(TimesOf(67, 125, 40))), "2.8 / 5.2 d");
  EXPECT_EQ(ShortTimes(watched(TimesOf(67, 0, 40))), "2.8 d / >41 d");
  EXPECT_EQ(ShortTimes(watched(TimesOf(0, 0, 40))), ">41 d");
  EXPECT_EQ(LongTimes(watched(TimesOf(67, 0, 40))),
            "half within 2.8 d, 9 in 10 not reached: longer than 41 d; 20 of 40 done");
  EXPECT_EQ(LongTimes(watched(TimesOf(0, 0, 40))),
            "half not reached: longer than 41 d; 20 of 40 done");
}

TEST(TextTest, TooFewToTellIsSaidAsSuch) {
  v1::Times times = TimesOf(67, 0, 9);
  times.set_p90_too_few(true);
  *times.mutable_longest_watch() = Seconds(41 * 86'400);  // says nothing here
  EXPECT_EQ(ShortTimes(times), "2.8 d / ?");
  EXPECT_EQ(LongTimes(times), "half within 2.8 d, 9 in 10: too few to tell; 4 of 9 done");
  times = TimesOf(0, 0, 4);
  times.set_median_reached(true);
  times.set_median_too_few(true);
  EXPECT_EQ(ShortTimes(times), "?");
  EXPECT_EQ(LongTimes(times), "too few to tell; 2 of 4 done");
}

TEST(TextTest, AtLeastIsNeverMoreThanItWas) {
  const std::pair<int64_t, std::string> cases[] = {{0, ""},
                                                   {59, ""},
                                                   {60, "1 min"},
                                                   {3599, "59 min"},
                                                   {7199, "1.9 h"},
                                                   {3600 * 3, "3.0 h"},
                                                   {86'399, "23 h"},
                                                   {86'400, "1.0 d"},
                                                   {863'999, "9.9 d"},
                                                   {864'000, "10 d"},
                                                   {41 * 86'400 - 1, "40 d"}};
  for (const auto& [seconds, text] : cases) EXPECT_EQ(AtLeastText(Seconds(seconds)), text);
}

TEST(TextTest, DurationsChooseTheirUnit) {
  EXPECT_EQ(DaysText(1), "1 day");
  EXPECT_EQ(DaysText(2.5), "2.5 days");
  EXPECT_EQ(DurationText(Seconds(0)), "0 min");
  EXPECT_EQ(DurationText(Seconds(1500)), "25 min");
  EXPECT_EQ(DurationText(Seconds(3600 * 2 + 1800)), "2.5 h");
  EXPECT_EQ(DurationText(Seconds(3600 * 11)), "11 h");
  EXPECT_EQ(DurationText(Seconds(86'400 * 2 + 8640)), "2.1 d");
  EXPECT_EQ(HalfLifeText(Seconds(86'400 * 45)), "45 days");
  EXPECT_EQ(HalfLifeText(Seconds(86'400)), "1 day");
  EXPECT_EQ(HalfLifeText(Seconds(3600 * 36)), "36 hours");
  EXPECT_EQ(HalfLifeText(Seconds(86'400 * 5 / 2)), "2.5 days");
}

TEST(TextTest, TimesAreUtcAndMidnightIsADate) {
  EXPECT_EQ(TimeTextOf("2026-09-28T00:00:00Z"), "2026-09-28");
  EXPECT_EQ(TimeTextOf("2026-09-28T16:02:59+02:00"), "2026-09-28 14:02 UTC");
}

TEST(TextTest, MoneyAndLanes) {
  v1::Money money;
  money.set_minor_units(1375);
  money.set_currency_code("EUR");
  EXPECT_EQ(MoneyText(money), "13.75 EUR");
  money.set_currency_code("ZZZ");
  EXPECT_EQ(MoneyText(money), "1375 minor units of ZZZ");
  v1::Lane lane;
  lane.set_origin("VN");
  lane.set_destination("DE");
  EXPECT_EQ(LaneText(lane), "VN-DE");
  lane.set_service("");
  EXPECT_EQ(LaneText(lane), "VN-DE/-");
}

TEST(TextTest, StrayTextIsFitForATerminal) {
  EXPECT_EQ(Quoted("a\x1b[31m\xC2\x9B\xFFz"), "\"a?[31m??z\"");
  EXPECT_EQ(Quoted("\xC2"), "\"?\"");
  EXPECT_EQ(Quoted(std::string(50, 'x')), "\"" + std::string(40, 'x') + "...\"");
}

TEST(TextTest, Utf8IsCheckedWhole) {
  size_t position = 0;
  EXPECT_TRUE(IsUtf8("a\u00e9\u20ac\U0001F600"));
  for (const char* bad :
       {"ab\xFF", "ab\xC0\x80", "ab\xED\xA0\x80", "ab\xF4\x90\x80\x80", "ab\xE2\x82"}) {
    EXPECT_FALSE(IsUtf8(bad, &position));
    EXPECT_EQ(position, 3u);
  }
}

TEST(TextTest, WordsAreJoinedAndBroken) {
  EXPECT_EQ(Listed({"a"}), "a");
  EXPECT_EQ(Listed({"a", "b", "c"}), "a, b and c");
  EXPECT_EQ(Wrapped("one two three four", 9, 2), "one two\n  three\n  four\n");
  EXPECT_EQ(Wrapped("lost 2.2 %, damaged 1 %", 9), "lost\n2.2 %,\ndamaged\n1 %\n");
}

TEST(WordsTest, NearestForgivesSpelling) {
  const std::vector<std::string> known = {"order_id", "event_id", "supplier", "source"};
  EXPECT_EQ(Nearest("OrderID", known), "order_id");
  EXPECT_EQ(Nearest("suplier", known), "supplier");
  EXPECT_EQ(Nearest("soruce", known), "source");
  EXPECT_EQ(Nearest("address", known), "");
  EXPECT_EQ(Nearest("x", known), "");
}

TEST(WordsTest, DefectsAreNamedPlainly) {
  EXPECT_EQ(DefectText(v1::REASON_WRONG_ITEM), "wrong item");
  EXPECT_EQ(DefectText(v1::REASON_QUALITY), "poor quality");
  EXPECT_EQ(DefectText(v1::REASON_LOST), "lost");
  EXPECT_EQ(DefectText(static_cast<v1::Reason>(99)), "of another kind");
}

TEST(WordsTest, FieldsOfTheApiAreNamedAsInFiles) {
  EXPECT_EQ(FileField("event_time"), "time");
  EXPECT_EQ(FileField("refund_side"), "by");
  EXPECT_EQ(FileField("cost.minor_units"), "cost");
  EXPECT_EQ(FileField("claim.currency_code"), "currency");
  EXPECT_EQ(FileField("order_id"), "order_id");
}

TEST(TableTest, ColumnsStandTwoBlanksApart) {
  Table table({{"name"}, {"two\nlines", Table::Align::kRight}, {"last"}});
  table.Add({"a", "1", "x"});
  table.Add({"bcdefg", "1,234", ""});
  EXPECT_EQ(table.Render(80),
            "          two\n"
            "name    lines  last\n"
            "a           1  x\n"
            "bcdefg  1,234\n");
  EXPECT_EQ(table.Render(80, 2).substr(0, 16), "            two\n");
}

TEST(TableTest, ForProgramsHasTabsOneLineOfHeadersAndNothingCut) {
  Table table({{"name"}, {"two\nlines", Table::Align::kRight}, {"\nlow"}});
  const std::string name(300, 'x');
  table.Add({name, "1", ""});
  EXPECT_EQ(table.Render(kPlainWidth, 2), "name\ttwo lines\tlow\n" + name + "\t1\t\n");
}

TEST(TableTest, NumbersForProgramsHaveNoSeparators) {
  using enum Table::Align;
  Table table({{"name"}, {"n", kRight}, {"share", kRight}});
  table.Add({"of 1,234", "1,234,567", "1,5 or 12,3456 of 8,412"});
  EXPECT_EQ(table.Render(kPlainWidth),
            "name\tn\tshare\nof 1,234\t1234567\t1,5 or 12,3456 of 8412\n");
}

TEST(TableTest, WidthsAreThoseOfATerminal) {
  EXPECT_EQ(DisplayWidth("abc"), 3);
  EXPECT_EQ(DisplayWidth("東京"), 4);
  EXPECT_EQ(DisplayWidth("e\u0301"), 1);
  Table table({{"name"}, {"n"}});
  table.Add({"東京", "1"});
  table.Add({"abcd", "2"});
  EXPECT_EQ(table.Render(80), "name  n\n東京  1\nabcd  2\n");
}

TEST(TableTest, FirstColumnIsCutToFit) {
  Table table({{"name"}, {"n"}});
  table.Add({"a-very-long-supplier", "123456"});
  table.Add({"東京東京東京東京", "1"});
  table.Add({"lotus-works/express", "2"});
  EXPECT_EQ(table.Render(20),
            "name          n\n"
            "a-very-long…  123456\n"
            "東京東京東…   1\n"
            "lot…/express  2\n");
}

TEST(TableTest, NothingElseIsCut) {
  Table table({{"name"}, {"n"}});
  table.Add({"a-very-long-supplier", std::string(30, 'x')});
  EXPECT_EQ(table.Render(20), "name      n\na-very-…  " + std::string(30, 'x') + "\n");
}

TEST(TableTest, FitCutsWholeCharacters) {
  EXPECT_EQ(Fit("abc", 3), "abc");
  EXPECT_EQ(Fit("abcd", 3), "ab…");
  EXPECT_EQ(Fit("東京", 3), "東…");
  EXPECT_EQ(Fit("東京", 2), "…");
}

}  // namespace
}  // namespace plumblane::client
