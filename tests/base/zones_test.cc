// Days at a destination, against the rules of the time zones: central Europe changes its clocks at
// 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC); Honolulu and the rest
// are taken from the tz database.
#include "base/zones.h"

#include <absl/time/civil_time.h>
#include <absl/time/time.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <random>
#include <string>
#include <vector>

namespace plumblane {
namespace {

using ::testing::HasSubstr;

const Zones& Loaded() {
  static const Zones zones = Zones::Load().value();
  return zones;
}

Day On(const char* date) { return ParseDay(date).value(); }
Instant At(const char* time) { return ParseInstant(time).value(); }

struct CivilDayCase {
  const char* destination;
  const char* date;
  const char* start;  // first moment
  const char* end;    // first moment after
};

class CivilDays : public ::testing::TestWithParam<CivilDayCase> {};

TEST_P(CivilDays, StartAndEndAtTheDestination) {
  const CivilDayCase& c = GetParam();
  SCOPED_TRACE(std::string(c.destination) + " " + c.date);
  EXPECT_EQ(FormatInstant(Loaded().StartOfDay(On(c.date), c.destination)), c.start);
  EXPECT_EQ(FormatInstant(Loaded().LastMillisOfDay(On(c.date), c.destination) + 1), c.end);
}

INSTANTIATE_TEST_SUITE_P(
    Zones, CivilDays,
    ::testing::Values(
        CivilDayCase{"DE", "2026-01-15", "2026-01-14T23:00:00Z", "2026-01-15T23:00:00Z"},
        CivilDayCase{"DE", "2026-07-01", "2026-06-30T22:00:00Z", "2026-07-01T22:00:00Z"},
        // The day the clocks go forward has 23 hours, the day they go back 25.
        CivilDayCase{"DE", "2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z"},
        CivilDayCase{"DE", "2026-10-25", "2026-10-24T22:00:00Z", "2026-10-25T23:00:00Z"},
        CivilDayCase{"SE", "2026-03-05", "2026-03-04T23:00:00Z", "2026-03-05T23:00:00Z"},
        CivilDayCase{"IE", "2026-03-05", "2026-03-05T00:00:00Z", "2026-03-06T00:00:00Z"},
        CivilDayCase{"IE", "2026-07-01", "2026-06-30T23:00:00Z", "2026-07-01T23:00:00Z"},
        // Chatham is 45 minutes ahead of Auckland, so Auckland ends its day last.
        CivilDayCase{"NZ", "2026-01-15", "2026-01-14T11:00:00Z", "2026-01-15T11:00:00Z"},
        CivilDayCase{"NZ", "2026-07-01", "2026-06-30T12:00:00Z", "2026-07-01T12:00:00Z"},
        // New York to Honolulu: Honolulu, west of all.
        CivilDayCase{"US", "2026-07-01", "2026-07-01T10:00:00Z", "2026-07-02T10:00:00Z"},
        // Lisbon and the Azores: the Azores.
        CivilDayCase{"PT", "2026-01-15", "2026-01-15T01:00:00Z", "2026-01-16T01:00:00Z"},
        // Havana has no midnight on 8 March 2026: its clocks go from 00:00 to 01:00.
        CivilDayCase{"CU", "2026-03-07", "2026-03-07T05:00:00Z", "2026-03-08T05:00:00Z"},
        CivilDayCase{"CU", "2026-03-08", "2026-03-08T05:00:00Z", "2026-03-09T04:00:00Z"},
        // A UN/LOCODE is its country; other codes are in the fallback zone.
        CivilDayCase{"DEHAM", "2026-01-15", "2026-01-14T23:00:00Z", "2026-01-15T23:00:00Z"},
        CivilDayCase{"NZAKL", "2026-01-15", "2026-01-14T11:00:00Z", "2026-01-15T11:00:00Z"},
        CivilDayCase{"XX", "2026-01-15", "2026-01-15T00:00:00Z", "2026-01-16T00:00:00Z"},
        CivilDayCase{"DEPOT2", "2026-01-15", "2026-01-15T00:00:00Z", "2026-01-16T00:00:00Z"},
        CivilDayCase{"", "2026-01-15", "2026-01-15T00:00:00Z", "2026-01-16T00:00:00Z"}));

TEST(Zones, TheLastMomentOfADayIsAMillisecondBeforeTheNextBegins) {
  for (const char* destination : {"DE", "SE", "IE", "NZ", "XX"}) {
    for (Day day = On("2026-01-01"); day < On("2027-01-01"); day = day + 1) {
      ASSERT_EQ(Loaded().LastMillisOfDay(day, destination) + 1,
                Loaded().StartOfDay(day + 1, destination))
          << destination << " " << FormatDay(day);
    }
  }
}

TEST(Zones, NoMomentLiesOutsideTheYearsThatCanBeWritten) {
  // 1970-01-01 began in Berlin before 1970 did in UTC.
  EXPECT_EQ(Loaded().StartOfDay(On("1970-01-01"), "DE"), kEarliestInstant);
  EXPECT_EQ(Loaded().LastMillisOfDay(On("9999-12-31"), "US"), kLatestInstant);
  EXPECT_EQ(Loaded().PromiseAfter(kLatestInstant, 365, "US"), kLatestInstant);
}

struct PromiseCase {
  const char* from;
  int days;
  const char* destination;
  const char* end;  // first moment after the promise
};

class PromisesInDays : public ::testing::TestWithParam<PromiseCase> {};

TEST_P(PromisesInDays, EndWithThatDayAtTheDestination) {
  const PromiseCase& c = GetParam();
  EXPECT_EQ(FormatInstant(Loaded().PromiseAfter(At(c.from), c.days, c.destination) + 1), c.end);
}

INSTANTIATE_TEST_SUITE_P(
    Zones, PromisesInDays,
    ::testing::Values(PromiseCase{"2026-03-05T10:00:00Z", 0, "DE", "2026-03-05T23:00:00Z"},
                      PromiseCase{"2026-03-05T10:00:00Z", 3, "DE", "2026-03-08T23:00:00Z"},
                      // 23:30 UTC is the next day in Berlin already.
                      PromiseCase{"2026-03-05T23:30:00Z", 3, "DE", "2026-03-09T23:00:00Z"},
                      PromiseCase{"2026-03-05T22:59:59.999Z", 0, "DE", "2026-03-05T23:00:00Z"},
                      PromiseCase{"2026-03-05T23:00:00Z", 0, "DE", "2026-03-06T23:00:00Z"},
                      // Across the changes of the clocks it is days that count, not hours.
                      PromiseCase{"2026-03-28T12:00:00Z", 1, "DE", "2026-03-29T22:00:00Z"},
                      PromiseCase{"2026-10-24T12:00:00Z", 1, "DE", "2026-10-25T23:00:00Z"},
                      // 11:30 UTC is past midnight in Auckland and Chatham.
                      PromiseCase{"2026-01-15T11:30:00Z", 1, "NZ", "2026-01-17T11:00:00Z"},
                      // Past midnight in Chatham only: the day that ends last is the promise.
                      PromiseCase{"2026-01-15T10:30:00Z", 1, "NZ", "2026-01-17T10:15:00Z"},
                      PromiseCase{"2026-03-05T10:00:00Z", 3, "XX", "2026-03-09T00:00:00Z"},
                      PromiseCase{"2026-03-05T10:00:00Z", 365, "DE", "2027-03-05T23:00:00Z"}));

TEST(Zones, TheDayOfAMomentIsThatOfTheCalendarAtTheDestination) {
  const Zones zones = Zones::Load().value();
  EXPECT_EQ(zones.DayAt(At("2026-03-05T22:59:59Z"), "DE"), On("2026-03-05"));
  EXPECT_EQ(zones.DayAt(At("2026-03-05T23:00:00Z"), "DE"), On("2026-03-06"));
  EXPECT_EQ(zones.DayAt(At("2026-03-05T23:00:00Z"), "XX"), On("2026-03-05"));
  for (const char* destination : {"DE", "NZ", "US", "RU", "KI", "MX", "DEHAM", "XX"}) {
    for (const Day day : {On("2026-01-15"), On("2026-03-29"), On("2026-10-25")}) {
      EXPECT_EQ(zones.DayAt(zones.StartOfDay(day, destination), destination), day) << destination;
      EXPECT_EQ(zones.DayAt(zones.LastMillisOfDay(day, "DE"), "DE"), day);
    }
  }
}

// By the tz database, one zone after the other; those of these countries were alike at some times
// and not at others, before 2020 or after.
TEST(Zones, OfSeveralZonesTheOneCountsWhoseDayEndsLastInAnyYear) {
  const std::map<std::string, std::vector<std::string>> zones = {
      {"AU",
       {"Antarctica/Macquarie", "Australia/Adelaide", "Australia/Brisbane", "Australia/Broken_Hill",
        "Australia/Darwin", "Australia/Eucla", "Australia/Hobart", "Australia/Lindeman",
        "Australia/Lord_Howe", "Australia/Melbourne", "Australia/Perth", "Australia/Sydney"}},
      {"DE", {"Europe/Berlin", "Europe/Busingen"}},
      {"KZ",
       {"Asia/Almaty", "Asia/Aqtau", "Asia/Aqtobe", "Asia/Atyrau", "Asia/Oral", "Asia/Qostanay",
        "Asia/Qyzylorda"}},
      {"NZ", {"Pacific/Auckland", "Pacific/Chatham"}},
      {"PT", {"Atlantic/Azores", "Atlantic/Madeira", "Europe/Lisbon"}}};
  const absl::CivilDay origin(1970, 1, 1);
  std::mt19937_64 random(20);
  const int64_t hours = (At("2110-01-01T00:00:00Z") - kEarliestInstant) / 3'600'000;
  for (const auto& [country, names] : zones) {
    for (int i = 0; i < 20'000; ++i) {
      // On the hour and a millisecond before, where days begin and end.
      const Instant t = kEarliestInstant + kMillisPerDay +
                        static_cast<int64_t>(random() % hours) * 3'600'000 -
                        static_cast<int64_t>(random() % 2);
      const int days = static_cast<int>(random() % 400);
      absl::CivilDay day;
      int64_t today = INT64_MIN, promise = INT64_MIN, of_date = INT64_MIN;
      for (const std::string& name : names) {
        absl::TimeZone zone;
        ASSERT_TRUE(absl::LoadTimeZone(name, &zone)) << name;
        const auto end = [&](absl::CivilDay day) {
          return absl::ToUnixMillis(absl::FromCivil(day + 1, zone)) - 1;
        };
        const absl::CivilDay date = absl::ToCivilDay(absl::FromUnixMillis(t.millis), zone);
        if (end(date) > today) day = date;
        today = std::max(today, end(date));
        promise = std::max(promise, end(date + days));
        of_date = std::max(of_date, end(origin + DayOf(t).number));
      }
      SCOPED_TRACE(country + " " + FormatInstant(t));
      ASSERT_EQ(Loaded().DayAt(t, country).number, day - origin);
      ASSERT_EQ(Loaded().PromiseAfter(t, 0, country).millis, today);
      ASSERT_EQ(Loaded().PromiseAfter(t, days, country).millis, promise);
      ASSERT_EQ(Loaded().LastMillisOfDay(DayOf(t), country).millis, of_date);
    }
  }
}

TEST(Zones, AnUnknownDestinationUsesTheFallbackThatWasAskedFor) {
  const Zones berlin = Zones::Load("Europe/Berlin").value();
  EXPECT_EQ(berlin.StartOfDay(On("2026-01-15"), "XX"), At("2026-01-14T23:00:00Z"));
  EXPECT_EQ(berlin.StartOfDay(On("2026-01-15"), "IE"), At("2026-01-15T00:00:00Z"));
}

TEST(Zones, AnUnknownFallbackIsRefusedByName) {
  const auto zones = Zones::Load("Europe/Atlantis");
  ASSERT_TRUE(absl::IsInvalidArgument(zones.status()));
  EXPECT_THAT(std::string(zones.status().message()), HasSubstr("\"Europe/Atlantis\""));
}

}  // namespace
}  // namespace plumblane
