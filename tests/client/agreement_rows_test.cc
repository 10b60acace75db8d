// Rows of tables and files of costs: agreement_rows.h, cost_file.h.

#include "client/agreement_rows.h"

#include <gmock/gmock.h>

#include "client/cost_file.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

using Fields = std::vector<std::string>;  // in turns of name and value

Fields With(Fields fields, const Fields& others) {
  fields.insert(fields.end(), others.begin(), others.end());
  return fields;
}

// What is wrong with the row as "field: expectation", else the message it became.
template <typename Message>
std::string Outcome(std::optional<Complaint> (*read)(const Row&, Message&), const Fields& fields) {
  Message message;
  const std::optional<Complaint> bad = read(RowOf(fields), message);
  return bad ? bad->field + ": " + bad->message : message.ShortDebugString();
}

const Fields kQuote = {"supplier", "lotus-works", "item",  "kite",     "lane",
                       "VN-DE",    "price",       "11.14", "currency", "eur"};

TEST(ReadQuoteTest, EveryFieldFindsItsPlace) {
  EXPECT_EQ(Outcome(ReadQuote, {"supplier",      "lotus-works", "supplier_item", "LW-7",
                                "origin",        "vn",          "destination",   "DE",
                                "service",       "express",     "price",         "1114",
                                "freight",       "350",         "duty",          "0",
                                "currency",      "JPY",         "promised_days", "5-8 working",
                                "valid_from",    "2026-09-01",  "valid_until",   "2026-10-05",
                                "minimum_units", "10"}),
            "supplier: \"lotus-works\" supplier_item: \"LW-7\" origin: \"VN\" destination: \"DE\" "
            "service: \"express\" price { minor_units: 1114 currency_code: \"JPY\" } "
            "freight { minor_units: 350 currency_code: \"JPY\" } "
            "duty { currency_code: \"JPY\" } promised_days: \"5-8 working\" "
            "valid_from: \"2026-09-01\" valid_until: \"2026-10-05\" minimum_units: 10");
}

TEST(ReadQuoteTest, PriceAloneIsTheLandedPrice) {
  EXPECT_EQ(Outcome(ReadQuote, kQuote),
            "supplier: \"lotus-works\" item: \"kite\" origin: \"VN\" destination: \"DE\" "
            "price { minor_units: 1114 currency_code: \"EUR\" }");
}

TEST(ReadQuoteTest, BadFormsNameTheFieldAndWhatWasExpected) {
  const std::pair<Fields, std::string> cases[] = {
      {{"supplier", "a"},
       "item: expected either an item, * for any, or the supplier's code for it"},
      {With(kQuote, {"supplier_item", "LW-7"}), "item: expected either an item"},
      {{"item", "*"}, "supplier: expected a value, such as lotus-works"},
      {{"supplier", "a/b", "item", "*"}, "supplier: "},
      {{"supplier", "a", "item", "*"}, "origin: expected a value, such as VN"},
      {With(kQuote, {"destination", "DE"}), "destination: expected either the lane or its parts"},
      {{"supplier", "a", "item", "*", "lane", "VNDE"}, "lane: expected a lane such as VN-DE"},
      {{"supplier", "a", "item", "*", "lane", "VN-DE/-"},
       "lane: expected VN-DE/express, or VN-DE for any service, not \"VN-DE/-\""},
      {{"supplier", "a", "item", "*", "origin", "VN", "destination", "DE", "service", "-"},
       "service: expected a service, or nothing for any"},
      {{"supplier", "a", "item", "*", "lane", "VN-DE"}, "price: expected a value, such as 13.75"},
      {{"supplier", "a", "item", "*", "lane", "VN-DE", "price", "3"},
       "currency: expected a value, such as EUR"},
      {{"supplier", "a", "item", "*", "lane", "VN-DE", "price", "3", "currency", "EURO"},
       "currency: expected a currency of ISO 4217, such as EUR, not \"EURO\""},
      {{"supplier", "a", "item", "*", "lane", "VN-DE", "price", "1.375", "currency", "EUR"},
       "price: expected a plain amount in EUR with at most 2 decimals, such as 13.75"},
      {{"supplier", "a", "item", "*", "lane", "VN-DE", "price", "-3", "currency", "EUR"},
       "price: expected an amount of 0 or more, not \"-3\""},
      {With(kQuote, {"freight", "x"}), "freight: expected a plain amount in EUR"},
      {With(kQuote, {"valid_from", "5.3.2026"}), "valid_from: expected a date"},
      {With(kQuote, {"valid_until", "2026-02-30"}), "valid_until: expected a date"},
      {With(kQuote, {"minimum_units", "0"}),
       "minimum_units: expected a whole number from 1 to 1000000, not \"0\""},
      {With(kQuote, {"prise", "3"}), "prise: unknown field, did you mean \"price\"?"}};
  for (const auto& [fields, mistake] : cases) {
    EXPECT_THAT(Outcome(ReadQuote, fields), testing::StartsWith(mistake));
  }
}

TEST(ReadQuoteTest, ListInJsonIsNoValue) {
  Row row = RowOf(kQuote);
  row.cells[1] = {"item", "a list", Cell::Kind::kOther};
  v1::Quote quote;
  EXPECT_EQ(ReadQuote(row, quote)->message, "expected a text or a number, not a list");
}

TEST(ReadTermsTest, EveryFieldFindsItsPlace) {
  EXPECT_EQ(
      Outcome(ReadTerms, {"supplier",
                          "lotus-works",
                          "monthly_order_limit",
                          "0",
                          "month_start_day",
                          "28",
                          "next_step_cost",
                          "49",
                          "currency",
                          "EUR",
                          "claim_days",
                          "14",
                          "promised_days",
                          "1-2+5-8",
                          "origin",
                          "vn",
                          "service",
                          "express",
                          "closures",
                          "2026-12-24..2026-12-31  2027-02-05",
                          "target_on_time",
                          "95%",
                          "target_defect",
                          "0.03",
                          "target_delivery_days",
                          "12.5",
                          "target_response_days",
                          "2",
                          "tags",
                          "air  small"}),
      "supplier: \"lotus-works\" monthly_order_limit: 0 month_start_day: 28 next_step_cost { "
      "minor_units: 4900 currency_code: \"EUR\" } claim_days: 14 promised_days: \"1-2+5-8\" "
      "origin: \"VN\" service: \"express\" closures { first_date: \"2026-12-24\" last_date: "
      "\"2026-12-31\" } closures { first_date: \"2027-02-05\" last_date: \"2027-02-05\" } "
      "targets { on_time: 0.95 defect: 0.03 delivery_days: 12.5 response_days: 2 } tags: \"air\" "
      "tags: \"small\"");
}

TEST(ReadTermsTest, WhatIsNotStatedIsAbsent) {
  v1::Terms terms;
  EXPECT_FALSE(ReadTerms(RowOf({"supplier", "a"}), terms));
  EXPECT_FALSE(terms.has_monthly_order_limit() || terms.has_claim_days() || terms.has_targets() ||
               terms.has_next_step_cost());
}

TEST(ReadTermsTest, BadForms) {
  const std::pair<Fields, std::string> cases[] = {
      {{"monthly_order_limit", "-1"}, "monthly_order_limit: expected a whole number from 0"},
      {{"month_start_day", "29"}, "month_start_day: expected a whole number from 1 to 28"},
      {{"next_step_cost", "49"}, "currency: expected a value, such as EUR"},
      {{"claim_days", "0"}, "claim_days: expected a whole number from 1 to 365"},
      {{"closures", "2026-12-31..2026-12-24"},
       "closures: expected the earlier day first, as FROM..TO at \"2026-12-31..2026-12-24\""},
      {{"target_on_time", "95"}, "target_on_time: expected a share from 0 to 1 or in percent"},
      {{"target_defect", "nan"}, "target_defect: expected a share"},
      {{"target_delivery_days", "0"}, "target_delivery_days: expected days above 0"},
      {{"target_response_days", "nan"}, "target_response_days: expected days above 0"}};
  for (const auto& [fields, mistake] : cases) {
    EXPECT_THAT(Outcome(ReadTerms, With({"supplier", "a"}, fields)), testing::StartsWith(mistake));
  }
}

TEST(ReadRateTest, PlainDecimalsOnly) {
  const auto outcome = [](const std::string& rate) {
    return Outcome(ReadRate, {"date", "2026-09-01", "from", "usd", "to", "EUR", "rate", rate});
  };
  for (const char* good : {"0.9213", "1", "25400", "0.000000000001"}) {
    EXPECT_EQ(outcome(good),
              "date: \"2026-09-01\" from_currency: \"USD\" to_currency: \"EUR\" rate: \"" +
                  std::string(good) + "\"");
  }
  for (const char* bad : {"0", "0.000", "-1", "1e3", "1,2", ".5", "5.", "1.2.3", "0.0000000000001",
                          "1234567890123", "x"}) {
    EXPECT_THAT(outcome(bad), HasSubstr("rate: expected a plain decimal above 0")) << bad;
  }
  EXPECT_EQ(Outcome(ReadRate, {"date", "2026-09-01", "from", "EUR", "to", "eur", "rate", "1"}),
            "to: expected another currency than `from`");
  EXPECT_EQ(Outcome(ReadRate, {"from", "EUR"}), "date: expected a value, such as 2026-03-05");
}

TEST(ReadItemTest, ClassOrCodeOrBoth) {
  EXPECT_EQ(Outcome(ReadItem, {"item", "kite", "class", "toys"}),
            "item: \"kite\" item_class: \"toys\"");
  EXPECT_EQ(Outcome(ReadItem, {"item", "kite", "supplier", "a", "supplier_item", "K 7"}),
            "item: \"kite\" supplier: \"a\" supplier_item: \"K 7\"");
  EXPECT_EQ(Outcome(ReadItem, {"item", "kite"}),
            "class: expected a class, or a supplier and its code");
  EXPECT_EQ(Outcome(ReadItem, {"item", "kite", "supplier", "a"}),
            "supplier_item: expected both the supplier and its code, or neither");
  EXPECT_EQ(Outcome(ReadItem, {"item", "kite", "class", "Toys"}),
            "class: expected 1 to 32 of a-z, 0-9 and hyphen, such as express, not \"Toys\"");
}

TEST(ReadOpenOrderTest, ServiceIsAbsentUnlessStated) {
  v1::OrderToAssign order;
  EXPECT_FALSE(ReadOpenOrder(RowOf({"order_id", "7", "destination", "de"}), "harbour", order));
  EXPECT_EQ(order.ShortDebugString(), "shop: \"harbour\" order_id: \"7\" destination: \"DE\"");
  v1::OrderToAssign other;
  EXPECT_FALSE(ReadOpenOrder(
      RowOf({"order_id", "7", "destination", "DE", "shop", "meadow", "item", "kite", "units", "2",
             "sale", "39.80", "currency", "EUR", "origin", "VN", "service", "-"}),
      "harbour", other));
  EXPECT_EQ(
      other.ShortDebugString(),
      "shop: \"meadow\" order_id: \"7\" destination: \"DE\" item: \"kite\" unit_count: 2 sale "
      "{ minor_units: 3980 currency_code: \"EUR\" } origin: \"VN\" service: \"\"");
}

// ---- costs ------------------------------------------------------------------------------------

constexpr char kCosts[] = R"(currency = "EUR"

[trials]
on = true
most_share = 0.1
most_cost = "0.20"

[[class]]
sale = "24.90"
late_order = "3.50"
day_late = "0.40"
day_waiting = "0.05"
unanswered_day = "0.50"
damaged = { refund = 0.5, reship = false }
lost = { refund = 0, reship = true }

[[class]]
shop = "har\"bour"
item_class = "fragile"
late_order = "5.00"
)";

// All that is wrong with a file, as lines.
std::string MistakesIn(const std::string& text) {
  const auto read = ReadCosts(text);
  std::string mistakes;
  if (const auto* wrong = std::get_if<std::vector<Rejection>>(&read)) {
    for (const Rejection& rejection : *wrong) {
      mistakes += std::to_string(rejection.line) + " " + rejection.complaint.field + ": " +
                  rejection.complaint.message + "\n";
    }
  }
  return mistakes;
}

TEST(CostFileTest, WhatIsWrittenReadsBackEqual) {
  const auto read = ReadCosts(kCosts);
  ASSERT_TRUE(std::holds_alternative<CostFile>(read)) << MistakesIn(kCosts);
  const CostFile& file = std::get<CostFile>(read);
  EXPECT_THAT(file.class_lines, ElementsAre(8, 17));
  EXPECT_EQ(file.settings.classes(0).late_order().minor_units(), 350);
  EXPECT_TRUE(file.settings.classes(0).defects(1).reship());
  EXPECT_EQ(file.settings.classes(1).shop(), "har\"bour");
  EXPECT_FALSE(file.settings.classes(1).has_sale());
  EXPECT_EQ(WriteCosts(file.settings, {}, 80), kCosts);
}

TEST(CostFileTest, SharesKeepEveryDigit) {
  for (const char* share : {"0.1", "0.333", "1e-05", "0.30000000000000004", "1"}) {
    v1::CostSettings settings;
    settings.set_currency_code("EUR");
    v1::DefectCost& defect = *settings.add_classes()->add_defects();
    defect.set_kind("lost");
    defect.set_refund_share(std::stod(share));
    const auto read = ReadCosts(WriteCosts(settings, {}, 80));
    ASSERT_TRUE(std::holds_alternative<CostFile>(read)) << share;
    EXPECT_EQ(std::get<CostFile>(read).settings.classes(0).defects(0).refund_share(),
              std::stod(share));
  }
}

TEST(CostFileTest, RemarksAreComments) {
  v1::CostSettings settings;
  settings.set_currency_code("JPY");
  settings.add_classes()->mutable_sale()->set_minor_units(2490);
  settings.mutable_classes(0)->mutable_sale()->set_currency_code("JPY");
  EXPECT_EQ(WriteCosts(settings, {"one two three", "four"}, 12),
            "# one two\n# three\n# four\n\ncurrency = \"JPY\"\n\n[[class]]\nsale = \"2490\"\n");
}

TEST(CostFileTest, MistakesNameTheirLine) {
  const std::pair<std::string, std::string> cases[] = {
      {"currency = \"EUR\"\n",
       "1 class: expected at least one [[class]] with what late and bad "
       "orders cost\n"},
      {"[[class]]\n", "1 currency: expected a currency of ISO 4217, such as EUR\n"},
      {"currency = 5\n[[class]]\n",
       "1 currency: expected a currency of ISO 4217, such as EUR, not 5\n"},
      {"currency = \"EUR\"\n[[class]]\nlate_ordr = \"3\"\n",
       "3 late_ordr: unknown key, did you mean \"late_order\"?\n"},
      {"currency = \"EUR\"\n\ncolour = 3\n[[class]]\n",
       "3 colour: unknown key; expected of currency, trials and class\n"},
      {"currency = \"EUR\"\n[[class]]\nsale = 24.90\n",
       "3 sale: expected an amount in quotes, such as \"3.50\", not 24.9\n"},
      {"currency = \"EUR\"\n[[class]]\nsale = \"24,90\"\n",
       "3 sale: expected a plain amount in EUR with at most 2 decimals, such as 13.75, not "
       "\"24,90\"\n"},
      {"currency = \"EUR\"\n[[class]]\nday_late = \"-1\"\n",
       "3 day_late: expected an amount of 0 or more, not \"-1\"\n"},
      {"currency = \"EUR\"\n[[class]]\ndamaged = 0.5\n",
       "3 damaged: expected { refund = 0.5, reship = false }, not 0.5\n"},
      {"currency = \"EUR\"\n[[class]]\nlost = { refund = 2, again = true }\n",
       "3 again: unknown key; expected of refund and reship\n"
       "3 refund: expected a share from 0 to 1, such as 0.5, not 2\n"},
      {"currency = \"EUR\"\ntrials = 1\n[[class]]\n",
       "2 trials: expected a table: [trials], not 1\n"},
      {"currency = \"EUR\"\n[trials]\non = 1\nmost_share = \"x\"\n[[class]]\n",
       "3 on: expected true or false, not 1\n"
       "4 most_share: expected a share from 0 to 1, such as 0.5, not \"x\"\n"},
      {"currency = \"EUR\"\n[[class]]\n[[class]]\nitem_class = \"\"\n",
       "3 class: stands there twice for this shop and item_class\n"},
      {"currency = \"EUR\"\n[[class]]\nshop = 7\nitem_class = \"A b\"\n",
       "3 shop: expected a text in quotes, not 7\n"
       "4 item_class: expected 1 to 32 of a-z, 0-9 and hyphen, such as express, not \"A b\"\n"}};
  for (const auto& [text, mistakes] : cases) EXPECT_EQ(MistakesIn(text), mistakes) << text;
  EXPECT_THAT(MistakesIn("currency = \"EUR\"\n[[class]\n"), HasSubstr("2 : expected TOML: "));
}

}  // namespace
}  // namespace plumblane::client
