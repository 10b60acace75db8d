// Days and instants: where a day begins and ends, and which written times are taken.
#include "base/time.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>

namespace plumblane {
namespace {

using ::testing::HasSubstr;

TEST(Time, ADayRunsFromItsFirstMillisecondToTheLastBeforeTheNext) {
  for (const int32_t number : {-2, -1, 0, 1, 20'517, 2'932'896}) {
    const Day day{number};
    EXPECT_EQ(DayOf(StartOf(day)), day) << number;
    EXPECT_EQ(DayOf(EndOf(day) - 1), day) << number;
    EXPECT_EQ(DayOf(StartOf(day) - 1), day - 1) << number;
    EXPECT_EQ(EndOf(day), StartOf(day + 1)) << number;
    EXPECT_EQ(EndOf(day) - StartOf(day), 86'400'000) << number;
  }
}

TEST(Time, ArithmeticIsInWholeDaysAndMilliseconds) {
  EXPECT_EQ(Day{10} - Day{3}, 7);
  EXPECT_EQ(Day{10} - 12, Day{-2});
  EXPECT_EQ((Instant{5} + 10) - 1, Instant{14});
  EXPECT_EQ(Instant{5} - Instant{12}, -7);
  EXPECT_LT(Day{-1}, Day{0});
  EXPECT_LT(Instant{-1}, Instant{0});
}

struct Written {
  const char* text;
  int64_t millis;
};

class AcceptedInstant : public ::testing::TestWithParam<Written> {};

TEST_P(AcceptedInstant, IsThatMoment) {
  const auto time = ParseInstant(GetParam().text);
  ASSERT_TRUE(time.ok()) << GetParam().text << ": " << time.status();
  EXPECT_EQ(time->millis, GetParam().millis) << GetParam().text;
}

// The first four are the examples of RFC 3339 section 5.8, the others its grammar.
INSTANTIATE_TEST_SUITE_P(Time, AcceptedInstant,
                         ::testing::Values(Written{"1985-04-12T23:20:50.52Z", 482'196'050'520},
                                           Written{"1996-12-19T16:39:57-08:00", 851'042'397'000},
                                           // A leap second is the first moment of the next minute.
                                           Written{"1990-12-31T23:59:60Z", 662'688'000'000},
                                           Written{"1990-12-31T15:59:60-08:00", 662'688'000'000},
                                           Written{"1970-01-01T00:00:00Z", 0},
                                           Written{"1970-01-01T00:00:00+00:00", 0},
                                           Written{"1970-01-01T00:00:00-00:00", 0},
                                           Written{"1970-01-01T05:45:00+05:45", 0},
                                           Written{"1969-12-31T23:59:59.001-00:01", 59'001},
                                           Written{"2026-03-05t14:00:00z", 1'772'719'200'000},
                                           Written{"2026-03-05T14:00:00+01:00", 1'772'715'600'000},
                                           Written{"2024-02-29T00:00:00Z", 1'709'164'800'000},
                                           Written{"2090-01-01T00:00:00Z", 3'786'912'000'000},
                                           Written{"9999-12-31T23:59:59.999Z", 253'402'300'799'999},
                                           // Finer than a millisecond is cut off, not rounded.
                                           Written{"1970-01-01T00:00:00.0009Z", 0},
                                           Written{"1970-01-01T00:00:00.123999999Z", 123},
                                           Written{"1970-01-01T00:00:00.1Z", 100}));

struct Unfit {
  const char* text;
  const char* message;
};

class RefusedInstant : public ::testing::TestWithParam<Unfit> {};

TEST_P(RefusedInstant, SaysWhatWasExpected) {
  const auto time = ParseInstant(GetParam().text);
  ASSERT_FALSE(time.ok()) << GetParam().text << " was taken as " << time->millis;
  EXPECT_TRUE(absl::IsInvalidArgument(time.status()));
  EXPECT_THAT(std::string(time.status().message()), HasSubstr(GetParam().message))
      << GetParam().text;
}

constexpr char kForm[] = "expected an RFC 3339 time with offset";
constexpr char kYears[] = "expected a time in the years 1970 to 9999";

INSTANTIATE_TEST_SUITE_P(
    Time, RefusedInstant,
    ::testing::Values(
        Unfit{"2026-03-05", "bare date"}, Unfit{"2026-03-05T14:00:00", kForm},  // no offset
        Unfit{"2026-03-05 14:00:00Z", kForm}, Unfit{"2026-03-05T14:00Z", kForm},
        Unfit{"2026-03-05T14:00:00 CET", kForm}, Unfit{"2026-03-05T14:00:00Z and more", kForm},
        Unfit{"", kForm}, Unfit{"yesterday", kForm}, Unfit{"1772719200", kForm},
        Unfit{"05/03/2026 14:00", kForm}, Unfit{"2026-13-05T14:00:00Z", kForm},
        Unfit{"2026-00-05T14:00:00Z", kForm}, Unfit{"2026-02-29T14:00:00Z", kForm},
        Unfit{"2026-03-05T24:00:00Z", kForm}, Unfit{"2026-03-05T14:60:00Z", kForm},
        Unfit{"2026-03-05T14:00:61Z", kForm},
        // The last example of RFC 3339 section 5.8 lies before all orders.
        Unfit{"1937-01-01T12:00:27.87+00:20", kYears}, Unfit{"1969-12-31T23:59:59.9999Z", kYears},
        Unfit{"1970-01-01T00:00:00+00:01", kYears}, Unfit{"9999-12-31T23:59:59-00:01", kYears},
        Unfit{"infinite-future", kYears}, Unfit{"infinite-past", kYears}));

TEST(Time, AnInstantIsWrittenWithMillisecondsOnlyWhenThereAreAny) {
  EXPECT_EQ(FormatInstant({0}), "1970-01-01T00:00:00Z");
  EXPECT_EQ(FormatInstant({1'772'719'200'000}), "2026-03-05T14:00:00Z");
  EXPECT_EQ(FormatInstant({1'772'719'200'007}), "2026-03-05T14:00:00.007Z");
  EXPECT_EQ(FormatInstant({1'772'719'200'120}), "2026-03-05T14:00:00.120Z");
  EXPECT_EQ(FormatInstant(kLatestInstant), "9999-12-31T23:59:59.999Z");
}

TEST(Time, WhatIsWrittenIsReadBack) {
  for (int64_t millis = 0; millis < kLatestInstant.millis; millis += 1'234'567'891'011) {
    const auto read = ParseInstant(FormatInstant({millis}));
    ASSERT_TRUE(read.ok()) << millis;
    EXPECT_EQ(read->millis, millis);
    const Day day = DayOf({millis});
    EXPECT_EQ(ParseDay(FormatDay(day)).value(), day);
  }
}

TEST(Time, ADateIsThatUtcDay) {
  EXPECT_EQ(ParseDay("1970-01-01")->number, 0);
  EXPECT_EQ(ParseDay("2000-03-01")->number, 11'017);
  EXPECT_EQ(ParseDay("2026-03-05")->number, 20'517);
  EXPECT_EQ(ParseDay("2090-01-01")->number, 43'830);
  EXPECT_EQ(ParseDay("9999-12-31")->number, 2'932'896);
  EXPECT_EQ(FormatDay({20'517}), "2026-03-05");
}

TEST(Time, OtherDatesAreRefused) {
  for (const char* text :
       {"", "2026-3-5", "2026/03/05", "05-03-2026", "20260305", "2026-02-29", "2026-13-01",
        "2026-00-01", "2026-01-00", "2026-03-05T00:00:00Z", " 2026-03-05", "2026-03-0x"}) {
    const auto day = ParseDay(text);
    ASSERT_FALSE(day.ok()) << text;
    EXPECT_THAT(std::string(day.status().message()), HasSubstr("expected a date, such as")) << text;
  }
  for (const char* text : {"1969-12-31", "0000-01-01"}) {
    const auto day = ParseDay(text);
    ASSERT_FALSE(day.ok()) << text;
    EXPECT_THAT(std::string(day.status().message()), HasSubstr("in the years 1970 to 9999"))
        << text;
  }
}

TEST(Time, ABareDateIsKnownByItsShapeAlone) {
  EXPECT_TRUE(LooksLikeDay("2026-03-05"));
  EXPECT_TRUE(LooksLikeDay("2026-99-99"));
  for (const char* text :
       {"", "2026-03-5", "2026-03-055", "2026_03_05", "2026-0a-05", "2026-03-0x", "20260305"}) {
    EXPECT_FALSE(LooksLikeDay(text)) << text;
  }
}

}  // namespace
}  // namespace plumblane
