// What texts mean as dates, and which forms a column of them leaves open: date_forms.h,
// column_facts.h.

#include "client/date_forms.h"

#include <gmock/gmock.h>

#include "client/column_facts.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

// As event files write it, in the clock of Berlin; "" = no date of this form.
std::string Read(std::string_view text, std::string_view form) {
  absl::TimeZone berlin;
  EXPECT_TRUE(absl::LoadTimeZone("Europe/Berlin", &berlin));
  const auto time = ReadTime(text, DateFormNamed(form).value());
  return time ? ToEventTime(*time, berlin) : "";
}

TEST(DateFormsTest, ReadsWhatTablesWrite) {
  const struct {
    std::string_view text, form, expected;
  } cases[] = {
      {"2012-06-05", "Y-M-D", "2012-06-05"},
      {"2012/6/5", "Y-M-D", "2012-06-05"},
      {"20120605", "Y-M-D", "2012-06-05"},
      {"2012-06-05T14:02:03.250Z", "Y-M-D", "2012-06-05T14:02:03.250Z"},
      {"2012-06-05 14:02:03 +0200", "Y-M-D", "2012-06-05T12:02:03Z"},
      {"2012-06-05T14:02:03-05:30", "Y-M-D", "2012-06-05T19:32:03Z"},
      {"2012-06-05 14:02 UTC", "Y-M-D", "2012-06-05T14:02:00Z"},
      {"5.6.2012", "D-M-Y", "2012-06-05"},
      {"05/06/12", "D-M-Y", "2012-06-05"},
      {"05/06/12", "M-D-Y", "2012-05-06"},
      {"05/06/71", "M-D-Y", "1971-05-06"},
      {"5-Jun-12", "D-M-Y", "2012-06-05"},
      {"5. Juni 2012 14:02", "D-M-Y", "2012-06-05T12:02:00Z"},  // summer time
      {"5 Dez 2012, 14:02", "D-M-Y", "2012-12-05T13:02:00Z"},   // winter time
      {"Jun 5, 2012 2:02 PM", "M-D-Y", "2012-06-05T12:02:00Z"},
      {"6/5/2012 12:00:00 AM", "M-D-Y", "2012-06-05"},  // a spreadsheet's day
      {"6/5/2012 12:30 am", "M-D-Y", "2012-06-04T22:30:00Z"},
      {"1338904920", "seconds", "2012-06-05T14:02:00Z"},
      {"1338904920250", "milliseconds", "2012-06-05T14:02:00.250Z"},
      // What is none.
      {"31/06/2012", "D-M-Y", ""},
      {"13/25/2012", "M-D-Y", ""},
      {"5-Jun-12", "Y-M-D", ""},
      {"5-Jun-12", "M-D-Y", ""},
      {"2012-06-05", "D-M-Y", ""},
      {"2012-06-05 25:00", "Y-M-D", ""},
      {"2012-06-05 13:00 PM", "Y-M-D", ""},
      {"2012-06-05 14:02 CET", "Y-M-D", ""},
      {"1969-06-05", "Y-M-D", ""},
      {"12345", "seconds", ""},
      {"yes", "D-M-Y", ""},
      {"", "D-M-Y", ""},
  };
  for (const auto& one : cases) EXPECT_EQ(Read(one.text, one.form), one.expected) << one.text;
}

std::vector<std::string> FormsOfAll(const std::vector<std::string>& values) {
  ColumnFacts facts;
  for (const std::string& value : values) facts.Take(value);
  std::vector<std::string> names;
  for (const DateForm form : facts.date_forms()) names.emplace_back(NameOf(form));
  return names;
}

TEST(ColumnFactsTest, DatesAreToldApartByAllOfThem) {
  EXPECT_THAT(FormsOfAll({"03/04/2026", "05/06/2026"}), ElementsAre("D-M-Y", "M-D-Y"));
  EXPECT_THAT(FormsOfAll({"03/04/2026", "", "25/06/2026"}), ElementsAre("D-M-Y"));
  EXPECT_THAT(FormsOfAll({"03/04/2026", "06/25/2026"}), ElementsAre("M-D-Y"));
  EXPECT_THAT(FormsOfAll({"25/06/2026", "06/25/2026"}), IsEmpty());
  EXPECT_THAT(FormsOfAll({"2026-03-04"}), ElementsAre("Y-M-D"));
  EXPECT_THAT(FormsOfAll({"5-Jun-12"}), ElementsAre("D-M-Y"));
  EXPECT_THAT(FormsOfAll({"5-Jun-12", "yes"}), IsEmpty());
  EXPECT_THAT(FormsOfAll({"", ""}), IsEmpty());
}

TEST(ColumnFactsTest, YearsOfTwoDigitsAreWhereTheyKeepTogether) {
  EXPECT_THAT(FormsOfAll({"26-03-01", "26-04-19"}), ElementsAre("Y-M-D"));
  EXPECT_THAT(FormsOfAll({"01-03-26", "19-04-26"}), ElementsAre("D-M-Y"));
  EXPECT_THAT(FormsOfAll({"01-03-12", "02-04-12"}), ElementsAre("Y-M-D", "D-M-Y", "M-D-Y"));
}

TEST(ColumnFactsTest, AmountsShowTheirDecimalSignUnlessTheyAreGroups) {
  ColumnFacts facts;
  for (const char* const value : {"1.234,50", "12", "12.50", "1,234", "-3"}) facts.Take(value);
  EXPECT_TRUE(facts.is_number());
  EXPECT_EQ(facts.commas(), 1);
  EXPECT_EQ(facts.points(), 1);
  EXPECT_EQ(facts.groups(), 1);
  facts.Take("1,23,4");
  EXPECT_FALSE(facts.is_number());
}

TEST(ColumnFactsTest, WordsAreKeptUpToABound) {
  ColumnFacts facts;
  for (size_t i = 0; i < ColumnFacts::kMostWords; ++i) facts.Take(std::to_string(i));
  EXPECT_FALSE(facts.has_more_words());
  facts.Take("0");
  EXPECT_FALSE(facts.has_more_words());
  facts.Take("other");
  EXPECT_TRUE(facts.has_more_words());
  EXPECT_EQ(facts.words().size(), ColumnFacts::kMostWords);
}

}  // namespace
}  // namespace plumblane::client
