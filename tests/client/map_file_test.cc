// Maps, good and bad, and the names of columns: map_file.h, column_guess.h, countries.h.

#include "client/map_file.h"

#include <gmock/gmock.h>

#include "client/column_guess.h"
#include "client/countries.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;

// "line 3: field: message" for every mistake.
std::vector<std::string> MistakesIn(const std::string& text) {
  const auto read = ReadMap(text);
  std::vector<std::string> mistakes;
  if (const auto* wrong = std::get_if<std::vector<Rejection>>(&read)) {
    for (const Rejection& one : *wrong) {
      mistakes.push_back(std::to_string(one.line) + " " + one.complaint.field + ": " +
                         one.complaint.message);
    }
  }
  return mistakes;
}

constexpr char kEvent[] =
    "[[event]]\ntype = \"paid\"\ntime = { column = \"Paid\", form = \"D-M-Y\" }\n";

TEST(MapFileTest, SmallMapIsRead) {
  const auto read =
      ReadMap(std::string("source = \"orders\"\n[order]\norder_id = \"No\"\n") + kEvent);
  const MapFile& map = std::get<MapFile>(read);
  EXPECT_EQ(map.source, "orders");
  EXPECT_EQ(map.order.at(0).column, "No");
  EXPECT_EQ(map.events.at(0).type.value, "paid");
  EXPECT_EQ(map.events.at(0).time.dates, DateForm::kDayFirst);
}

TEST(MapFileTest, WhatIsNotSettledIsSaidBeforeAllElse) {
  EXPECT_THAT(
      MistakesIn("sauce = 1\n[file]\ntime_zone = \"?\"\n[[event]]\ntype = \"?\"\n"),
      ElementsAre("3 time_zone: is not settled; the comment above it asks what it should be",
                  "5 type: is not settled; the comment above it asks what it should be"));
}

TEST(MapFileTest, MistakesAreSaidWithTheirLines) {
  const std::pair<std::string, std::string> cases[] = {
      {"sauce = \"x\"\n", "2 sauce: unknown key, did you mean \"source\"?"},
      {"[file]\ndelimiter = \"dots\"\n",
       "3 delimiter: expected comma, semicolon, tab or bar, not \"dots\""},
      {"[file]\ndecimal = \";\"\n", "3 decimal: expected \".\" or \",\""},
      {"[file]\nskip_lines = -1\n", "3 skip_lines: expected a whole number from 0 to 1000"},
      {"[file]\nrepeated_order = \"each\"\n",
       "2 key: `repeated_order` = \"each\" and `key` go together: the columns by which rows of one "
       "order differ"},
      {"[order]\nitem = { column = \"A\", value = \"b\" }\n",
       "3 item: expected one of `column` and `value`"},
      {"[order]\nsku = \"A\"\n",
       "3 sku: unknown key; expected of shop, order_id, part, supplier, origin, destination, "
       "service, promise, promise_days, item, units, cost, sale, currency, replaces and tracking"},
      {"[order]\npromise = \"Due\"\n",
       "3 promise: expected form = the order in which its dates are written: Y-M-D, D-M-Y, M-D-Y, "
       "seconds or milliseconds"},
      {"[order]\norigin = { column = \"A\", form = \"D-M-Y\" }\n",
       "3 origin: form: expected country, or none, not \"D-M-Y\""},
      {"[order]\nservice = { column = \"A\", words = \"w\" }\n",
       "3 service: there is no [words.w]"},
      {"[order]\nitem = \"Customer E-Mail\"\n",
       "3 item: column \"Customer E-Mail\" looks like an e-mail address of a person, which is "
       "never "
       "sent"},
      {"[[event]]\ntype = \"sent\"\ntime = { column = \"T\", form = \"Y-M-D\" }\n",
       "3 type: expected one of paid, shipped, delivered, disputed, answered, refunded and "
       "cancelled, not \"sent\""},
      {"[[event]]\ntype = \"paid\"\n", "2 time: expected the column of its time"},
      {"[words.w]\n\"a\" = 1\n", "3 a: expected a text in quotes"},
      {"[[join]]\nname = \"l\"\nby = \"A\"\n", "2 on: expected the column of the second table"},
      {"[[skip]]\ncolumn = \"A\"\nis = \"x\"\n", "4 is: expected a list of texts: [\"...\"]"},
  };
  for (const auto& [text, expected] : cases) {
    EXPECT_THAT(MistakesIn("source = \"s\"\n" + text + kEvent), ElementsAre(expected)) << text;
  }
  EXPECT_THAT(MistakesIn(kEvent),
              ElementsAre("1 source: expected whose export this is, such as source = \"orders\""));
  EXPECT_THAT(MistakesIn("source = [\n"), ElementsAre(testing::HasSubstr("expected TOML")));
}

TEST(ColumnGuessTest, NamesMeanTheirLongestPhrase) {
  const struct {
    std::string_view name, word;
    bool is_open;
  } cases[] = {
      {"Order ID", "order_id", false},
      {"orderNumber", "order_id", false},
      {"ORDER_NO", "order_id", false},
      {"Order Date", "paid", true},
      {"Paid at", "paid", true},
      {"Paid to supplier", "paid", false},
      {"Shipped", "shipped", true},
      {"First scan", "shipped", false},
      {"Delivered on", "delivered", false},
      {"Delivery date", "delivered", true},
      {"Delivery country", "destination", false},
      {"Ship-To Country", "destination", false},
      {"Shipping Method", "service", false},
      {"Due date", "promise", false},
      {"Refund amount", "refund", false},
      {"Refund date", "refunded", false},
      {"Bestellnummer", "order_id", false},
      {"W\xC3\x84HRUNG", "currency", false},
      {"Weight (kg)", "", false},
      {"Reported", "", false},
  };
  for (const auto& one : cases) {
    const ColumnGuess guess = GuessColumn(one.name);
    EXPECT_EQ(guess.word, one.word) << one.name;
    EXPECT_EQ(!guess.question.empty(), one.is_open) << one.name;
  }
}

TEST(ColumnGuessTest, PersonalColumnsAreKnownAndThingsAreNone) {
  const std::pair<std::string_view, std::string_view> cases[] = {
      {"Name", "the name"},
      {"Customer Name", "the name"},
      {"ShipTo-Name", "the name"},
      {"Buyer", "the name"},
      {"Order contact name", "the name"},
      {"Nachname", "the name"},
      {"E-Mail", "an e-mail address"},
      {"customer_email", "an e-mail address"},
      {"Phone No.", "a phone number"},
      {"Street 2", "the address"},
      {"Billing Address", "the address"},
      {"Postcode", "the address"},
      {"Item name", ""},
      {"Supplier Name", ""},
      {"Customer paid", ""},
      {"Customer country", ""},
      {"Order", ""},
      {"Renamed", ""},
  };
  for (const auto& [name, kind] : cases) EXPECT_EQ(PersonalKind(name), kind) << name;
}

TEST(CountriesTest, CodesAndNamesInAnyLanguage) {
  Countries countries;
  ASSERT_TRUE(countries.has_names()) << "package iso-codes is missing";
  const std::pair<std::string_view, std::string_view> cases[] = {
      {"DE", "DE"},
      {"de", "DE"},
      {"DEU", "DE"},
      {"Germany", "DE"},
      {"Deutschland", "DE"},
      {"DEUTSCHLAND", "DE"},
      {"Allemagne", "DE"},
      {"Vi\xE1\xBB\x87t Nam", "VN"},
      {"Vietnam", "VN"},
      {"\xC3\x96sterreich", "AT"},
      {"\xC3\x96STERREICH", "AT"},
      {"UK", "GB"},
      {"Turkey", "TR"},
      {"Polska", "PL"},
      {"Atlantis", ""},
      {"", ""},
  };
  for (const auto& [name, code] : cases) EXPECT_EQ(countries.Find(name), code) << name;
}

TEST(CountriesTest, WithoutTheListOnlyTheShapeOfACodeIsKnown) {
  Countries countries({"/nowhere.json", "/nowhere"});
  EXPECT_FALSE(countries.has_names());
  EXPECT_EQ(countries.Find("de"), "DE");
  EXPECT_EQ(countries.Find("Germany"), "");
}

}  // namespace
}  // namespace plumblane::client
