// What becomes of the rows of a table: wide_rows.h. A map and rows in, rows of an event file out.

#include "client/wide_rows.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>
#include <gmock/gmock.h>

#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr char kMap[] = R"(
source = "orders"
[file]
decimal = ","
time_zone = "Europe/Berlin"
[order]
order_id = "No"
supplier = { value = "lotus-works" }
origin = { value = "VN" }
destination = { column = "Country", form = "country", words = "lands" }
promise = { column = "Due", form = "D-M-Y" }
cost = "Cost"
currency = { value = "EUR" }
tracking = "Parcel"
[[event]]
type = "paid"
time = { column = "Paid", form = "D-M-Y" }
[[event]]
type = { column = "State", words = "states" }
time = { column = "Since", form = "D-M-Y" }
[[event]]
type = "refunded"
time = { column = "Back", form = "D-M-Y" }
refund = "Refund"
[words.lands]
"Ruritania" = "XR"
[words.states]
"On its way" = "shipped"
"There" = "delivered"
"Packed" = ""
[[skip]]
column = "State"
is = ["Test"]
)";
constexpr char kColumns[] = "No,Country,Due,Cost,Parcel,Paid,State,Since,Back,Refund";

class WideRowsTest : public testing::Test {
 protected:
  void Use(const std::string& map, const std::string& columns = kColumns,
           const std::string& revision = "2026-11-03T10:00:00Z") {
    auto read = ReadMap(map);
    ASSERT_TRUE(std::holds_alternative<MapFile>(read));
    map_ = std::get<MapFile>(read);
    Columns named{absl::StrSplit(columns, ',')};
    auto rows = WideRows::Make(&map_, named, &countries_, *ParseInstant(revision));
    ASSERT_TRUE(rows.ok()) << rows.status().message();
    rows_ = *std::move(rows);
  }

  // The row's events as "type time field=value ...", ids, source and revision left out; or
  // "!CODE field: message".
  std::vector<std::string> Take(const std::string& cells) {
    std::vector<Row> events;
    WideRow row{2, cells, absl::StrSplit(cells, '|')};
    row.cells.resize(10);
    if (const auto bad = rows_->Take(row, events)) {
      EXPECT_THAT(events, IsEmpty());
      return {absl::StrCat("!", bad->code, " ", bad->field, ": ", bad->message)};
    }
    std::vector<std::string> shown;
    ids_.clear();
    for (const Row& event : events) {
      std::string type, time, rest;
      for (const Cell& cell : event.cells) {
        if (cell.field == "type") type = cell.value;
        if (cell.field == "time") time = cell.value;
        if (cell.field == "event_id") ids_.push_back(cell.value);
        if (cell.field == "type" || cell.field == "time" || cell.field == "event_id" ||
            cell.field == "source" || cell.field == "revision") {
          continue;
        }
        absl::StrAppend(&rest, " ", cell.field, "=", cell.value);
      }
      shown.push_back(absl::StrCat(type, " ", time, rest));
    }
    return shown;
  }

  Countries countries_;
  MapFile map_;
  std::optional<WideRows> rows_;
  std::vector<std::string> ids_;
};

TEST_F(WideRowsTest, FactsGoWithPaidAndWhatAnEventNeedsWithEach) {
  Use(kMap);
  EXPECT_THAT(Take("7|Deutschland|20.3.2026|1.012,50 \xE2\x82\xAC|AG1|5.3.2026|There|"
                   "18.3.2026 09:30|25.3.2026|-3,00"),
              ElementsAre("paid 2026-03-05 order_id=7 cost=1012.50 destination=DE origin=VN "
                          "promise=2026-03-20 supplier=lotus-works currency=EUR",
                          "delivered 2026-03-18T08:30:00Z order_id=7 tracking=AG1",
                          "refunded 2026-03-25 refund=3.00 currency=EUR order_id=7"));
}

TEST_F(WideRowsTest, WithoutPaidTheFirstEventTellsTheFactsButNoPromisedDays) {
  Use(kMap);
  EXPECT_THAT(Take("7|Ruritania|20.3.2026|||||||"), IsEmpty());
  EXPECT_EQ(rows_->notes().without_event, 1);
  EXPECT_THAT(Take("8|Ruritania|20.3.2026|2||| On its way|18.3.2026||"),
              ElementsAre(HasSubstr("UNKNOWN_WORD State")));
  EXPECT_THAT(Take("9|Ruritania|20.3.2026|2|AG1||On its way|18.3.2026||"),
              ElementsAre("shipped 2026-03-18 order_id=9 tracking=AG1 cost=2 destination=XR "
                          "origin=VN promise=2026-03-20 supplier=lotus-works currency=EUR"));
  std::string map = kMap;
  map.replace(map.find("promise ="), map.find("cost =") - map.find("promise ="),
              "promise_days = { value = \"14\" }\n");
  Use(map);
  EXPECT_THAT(Take("9|DE|||||There|18.3.2026||"),
              ElementsAre(testing::Not(HasSubstr("promise_days"))));
  EXPECT_THAT(Take("8|DE||||5.3.2026|||||"), ElementsAre(HasSubstr("promise_days=14")));
}

TEST_F(WideRowsTest, WordsForNothingAndRefundsOfNothingAreNoEvents) {
  Use(kMap);
  EXPECT_THAT(Take("7|DE||||5.3.2026|Packed|6.3.2026|7.3.2026|0,00").size(), 1);
  EXPECT_THAT(Take("8|DE||||5.3.2026|PACKED|6.3.2026|7.3.2026|").size(), 1);
  EXPECT_THAT(Take("9|DE||||5.3.2026|Test|6.3.2026|7.3.2026|"), IsEmpty());
  EXPECT_EQ(rows_->notes().skipped, 1);
}

TEST_F(WideRowsTest, OneBadCellRefusesTheWholeRow) {
  Use(kMap);
  const std::pair<std::string, std::string> cases[] = {
      {"7|Atlantis||||5.3.2026||||",
       "!UNKNOWN_COUNTRY Country: \"Atlantis\" is no country known "
       "here; add it to a table of words in the map"},
      {"7|DE||1.01,50||5.3.2026||||",
       "!BAD_AMOUNT Cost: expected an amount with a decimal \",\", not \"1.01,50\""},
      {"7|DE||||5.3.2026|Lost|6.3.2026||",
       "!UNKNOWN_WORD State: \"Lost\" is not in [words.states] of the map; add it, or \"*\" for "
       "all "
       "other words"},
      {"8|DE||||5.3.2026|There|3/18/2026||",
       "!BAD_DATE Since: expected a date written D-M-Y, not \"3/18/2026\""},
      {"a@example.org|DE||||5.3.2026||||",
       "!PERSONAL No: looks like an e-mail address, which is never sent"},
  };
  for (const auto& [row, expected] : cases) EXPECT_THAT(Take(row), ElementsAre(expected)) << row;
}

TEST_F(WideRowsTest, AClockWithoutAZoneIsRefused) {
  std::string map = kMap;
  map.erase(map.find("time_zone"), map.find("[order]") - map.find("time_zone"));
  Use(map);
  EXPECT_THAT(Take("7|DE||||5.3.2026 10:00||||"),
              ElementsAre("!BAD_DATE Paid: a clock time without an offset; name its `time_zone` "
                          "under [file] in the map"));
  EXPECT_THAT(Take("8|DE||||5.3.2026 00:00||||"), ElementsAre(HasSubstr("paid 2026-03-05 ")));
}

TEST_F(WideRowsTest, IdsFollowFromTheRowsKeyAlone) {
  const std::string row = "7|DE|20.3.2026|1|AG1|5.3.2026|There|18.3.2026|25.3.2026|3";
  Use(kMap);
  Take(row);
  const std::vector<std::string> first = ids_;
  ASSERT_EQ(first.size(), 3);
  EXPECT_THAT(first[0], testing::MatchesRegex("paid-[0-9a-f]{16}"));
  Use(kMap);
  Take("7|SE|21.3.2026|2|AG2|6.3.2026|There|19.3.2026|26.3.2026|4");
  EXPECT_EQ(ids_, first);  // cells that may change are no part of them
  Take("8|DE|20.3.2026|1|AG1|5.3.2026|There|18.3.2026|25.3.2026|3");
  for (size_t i = 0; i < first.size(); ++i) EXPECT_NE(ids_[i], first[i]);
  Use(kMap, kColumns, "2026-11-10T10:00:00Z");
  Take(row);
  EXPECT_EQ(ids_, first);  // a later export's row is the same row
}

TEST_F(WideRowsTest, FurtherRowsOfAnOrderAreLeftOutOrPartsOrEach) {
  const auto with = [](const std::string& more) {
    std::string map = kMap;
    return map.insert(map.find("[order]"), more);
  };
  const std::string row = "7|DE|20.3.2026|1||5.3.2026||||";
  Use(with("repeated_order = \"first\"\n"));
  EXPECT_EQ(Take(row).size(), 1);
  EXPECT_THAT(Take(row), IsEmpty());
  EXPECT_EQ(rows_->notes().further, 1);

  Use(with("repeated_order = \"parts\"\n"));
  EXPECT_THAT(Take(row), ElementsAre(testing::Not(HasSubstr("part="))));
  const std::string first = ids_.at(0);
  EXPECT_THAT(Take(row), ElementsAre(HasSubstr("part=2")));
  EXPECT_NE(ids_.at(0), first);

  Use(with("repeated_order = \"each\"\nkey = [\"Cost\"]\n"));
  Take(row);
  const std::string one = ids_.at(0);
  EXPECT_EQ(Take(row).size(), 1);
  EXPECT_EQ(ids_.at(0), one);
  Take("7|DE|20.3.2026|2||5.3.2026||||");
  EXPECT_NE(ids_.at(0), one);
}

TEST_F(WideRowsTest, DatesThatCouldBeEitherAreCounted) {
  Use(kMap);
  Take("7|DE||||5.3.2026||||");
  Take("8|DE||||25.3.2026||||");
  Take("9|DE||||3.3.2026||||");
  for (const WideNotes::Either& either : rows_->notes().either) {
    if (either.column != "Paid") continue;
    EXPECT_EQ(either.dates, 3);
    EXPECT_EQ(either.could_be_either, 1);
  }
}

TEST_F(WideRowsTest, ColumnsThatAreNotThereAreNamed) {
  auto read = ReadMap(kMap);
  map_ = std::get<MapFile>(read);
  const auto rows = WideRows::Make(
      &map_, {absl::StrSplit("No,Contry,Due,Cost,Parcel,Paid,State,Since,Back,Refund", ',')},
      &countries_, Instant{0});
  EXPECT_EQ(std::string(rows.status().message()),
            "line 10: destination: the table has no column \"Country\", did you mean \"Contry\"?");
}

TEST(PlainAmountTest, GroupsAndSignsAreTakenOff) {
  const struct {
    std::string_view text;
    char decimal;
    std::string_view expected;  // "" = none
  } cases[] = {
      {"12", '.', "12"},
      {"12.50", '.', "12.50"},
      {"1,234.5", '.', "1234.5"},
      {"1'234.50", '.', "1234.50"},
      {"$ 1,234", '.', "1234"},
      {".5", '.', "0.5"},
      {"12,50", ',', "12.50"},
      {"1.234.567,00", ',', "1234567.00"},
      {"-3,20", ',', "-3.20"},
      {"\xC2\xA3"
       "5",
       '.', "5"},
      {"12,50", '.', ""},
      {"1,23.4", '.', ""},
      {"1,2345", '.', ""},
      {"1.2.3", '.', ""},
      {"EUR 5", '.', ""},
      {"", '.', ""},
      {"-", '.', ""},
      {"1234,567.0", '.', ""},
  };
  for (const auto& one : cases) {
    EXPECT_EQ(PlainAmount(one.text, one.decimal).value_or(""), one.expected) << one.text;
  }
}

}  // namespace
}  // namespace plumblane::client
