// What is at risk, on the screen: show_risk.h.

#include "client/show_risk.h"

#include <gmock/gmock.h>

#include "client/show_scores.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::EndsWith;
using testing::HasSubstr;
using testing::Not;

v1::Risk RiskOf(const std::string& json) { return FromJson<v1::Risk>(json); }

// By hand: of 100 orders 60, 30 and 10: 3,600 + 900 + 100 = 4,600, and 10,000 / 4,600 = 2.2. Of the
// money 40, 50 and 10 %: 1,600 + 2,500 + 100 = 4,200, and 10,000 / 4,200 = 2.4. Charged
// 563.20 / 550.50 = 1.0231; 98 / 100.
constexpr char kRisk[] = R"({"days":90,"asOfTime":"2026-10-01T00:00:00Z","currencyCode":"EUR",
  "orderConcentration":4600,"moneyConcentration":4200,"suppliers":[
  {"supplierId":"agave-trail","underwayCount":"0","orderCount":"10","orderShare":0.1,
   "moneyShare":0.1},
  {"supplierId":"linden-store","underwayCount":"1400","orderCount":"60","orderShare":0.6,
   "moneyShare":0.4,"silentDays":0.26,
   "exposures":[{"minorUnits":"1412350","currencyCode":"EUR"}],
   "charges":[{"currencyCode":"EUR","orderCount":"41","charged":"56320","quoted":"55050"}]},
  {"supplierId":"lotus-works","underwayCount":"3","orderCount":"30","orderShare":0.3,
   "moneyShare":0.5,"silentDays":12.04,
   "exposures":[{"minorUnits":"2000","currencyCode":"USD"},
                {"minorUnits":"98000","currencyCode":"VND"}],
   "charges":[{"currencyCode":"EUR","orderCount":"2","charged":"9800","quoted":"10000"},
              {"currencyCode":"USD","orderCount":"1","charged":"100","quoted":"100"}]}]})";

TEST(ShowRiskTest, WholeScreenWithSeveralCurrencies) {
  EXPECT_EQ(ShowRisk(RiskOf(kRisk), 80),
            "              orders  money  under  silent       paid for  charged over\n"
            "supplier           %      %    way    days  in      these        quoted\n"
            "linden-store      60     40  1,400     0.3  EUR  14123.50  +2.3 % of 41\n"
            "lotus-works       30     50      3    12.0  EUR         -   -2.0 % of 2\n"
            "                                            USD     20.00      0 % of 1\n"
            "                                            VND     98000             -\n"
            "agave-trail       10     10      0       -  -           -             -\n"
            "\n"
            "orders, money: share of the orders paid in the last 90 days, and of what was\n"
            "paid for them in EUR; under way: paid, but not delivered, cancelled, refunded or\n"
            "given up; silent: days without any news while these wait; in: the currency;\n"
            "charged: more or less than quoted, of how many orders; -: no figure.\n"
            "\n"
            "linden-store gets most: 60 % of the 100 orders paid in the last 90 days.\n"
            "lotus-works gets most: 50 % of the money.\n"
            "Concentration by orders 4,600, as if 2.2 suppliers had equal shares; by money\n"
            "4,200, as if 2.4 suppliers had equal shares. It is the sum of the squared shares\n"
            "in percent, 10,000 when one supplier has all.\n"
            "\n"
            "as of 2026-10-01\n");
}

TEST(ShowRiskTest, OneWithAllAndNoSharesOfMoney) {
  const std::string text =
      ShowRisk(RiskOf(R"({"days":1,"asOfTime":"2026-10-01T00:00:00Z","orderConcentration":10000,
      "moneyProblem":"orders were paid in several currencies; cost settings say which one counts",
      "suppliers":[{"supplierId":"a","orderCount":"1","orderShare":1,"underwayCount":"1"}]})"),
               80);
  EXPECT_THAT(text,
              HasSubstr("\na            100      -      1       -  -          -             -\n"));
  EXPECT_THAT(text, HasSubstr("paid in the last day, and of what was paid\nfor them; under way"));
  EXPECT_THAT(
      text,
      EndsWith("\n\na gets most: 100 % of the 1 order paid in the last day.\n"
               "Concentration by orders 10,000: one supplier has all. It is the sum of the\n"
               "squared shares in percent, 10,000 when one supplier has all.\n"
               "No shares of money: orders were paid in several currencies; cost settings say\n"
               "which one counts\n"
               "\n"
               "as of 2026-10-01\n"));
}

TEST(ShowRiskTest, EqualsGetMostTogether) {
  const v1::Risk risk = RiskOf(R"({"days":90,"orderConcentration":5000,"moneyConcentration":5000,
      "suppliers":[{"supplierId":"a","orderCount":"2","orderShare":0.5,"moneyShare":0.5},
                   {"supplierId":"b","orderCount":"2","orderShare":0.5,"moneyShare":0.5}]})");
  EXPECT_THAT(
      ShowRisk(risk, 80),
      HasSubstr("\na and b get most: 50 % each of the 4 orders paid in the last 90 days, and "
                "50 %\neach of the money.\n"));
}

TEST(ShowRiskTest, NothingIsSaidOfNothing) {
  EXPECT_EQ(ShowRisk(v1::Risk(), 80), "no orders yet; feed some with \"plumblane send\"\n");
  const std::string text =
      ShowRisk(RiskOf(R"({"days":30,"suppliers":[{"supplierId":"a"},{"supplierId":"b"}]})"), 80);
  EXPECT_THAT(text,
              HasSubstr("\nb              -      -      0       -  -          -             -\n"));
  EXPECT_THAT(text, HasSubstr("\nNo order was paid in the last 30 days, so there are no shares; "
                              "--days asks for\nmore days.\n"));
  EXPECT_THAT(text, Not(HasSubstr("Concentration")));
}

TEST(ShowRiskTest, LargeFiguresAndLongNamesFit) {
  v1::Risk risk = RiskOf(kRisk);
  for (v1::SupplierRisk& one : *risk.mutable_suppliers()) {
    one.set_supplier_id("the-very-long-name-of-a-supplier-" + one.supplier_id());
    one.set_order_share(.9934);
    one.set_money_share(.9934);
    one.set_underway_count(12'345);
    one.set_silent_days(1234.5);
    for (v1::Money& money : *one.mutable_exposures()) money.set_minor_units(12'345'678);
    for (v1::Charges& charges : *one.mutable_charges()) charges.set_order_count(12'345);
  }
  EXPECT_LE(WidestLine(ShowRisk(risk, 80)), 80) << ShowRisk(risk, 80);
}

v1::Risk With(const std::string& supplier) {
  return RiskOf(R"({"days":90,"suppliers":[{"supplierId":"a",)" + supplier + "}]}");
}

TEST(RiskLinesTest, FactsOfOneSupplier) {
  const std::pair<v1::Risk, std::string> cases[] = {
      {With(R"("underwayCount":"14","orderCount":"38","orderShare":0.384,"moneyShare":0.41,
        "exposures":[{"minorUnits":"41250","currencyCode":"EUR"},
                     {"minorUnits":"2000","currencyCode":"USD"}],
        "charges":[{"currencyCode":"EUR","orderCount":"41","charged":"56320","quoted":"55050"},
                   {"currencyCode":"USD","orderCount":"1","charged":"9800","quoted":"10000"}])"),
       "  at risk        412.50 EUR and 20.00 USD paid for 14 orders under way\n"
       "  share          38 % of the orders of all suppliers and 41 % of the money in\n"
       "                 the last 90 days\n"
       "  charged        2.3 % more than quoted, 563.20 EUR for 550.50 EUR, over 41\n"
       "                 orders\n"
       "                 2.0 % less than quoted, 98.00 USD for 100.00 USD, over 1 order\n"},
      {With(R"("orderCount":"1","orderShare":1)"),
       "  share          100 % of the orders of all suppliers in the last 90 days\n"},
      {With(R"("underwayCount":"1")"),
       "  at risk        not known: what was paid for 1 order under way\n"},
      {With(R"("charges":[{"currencyCode":"EUR","orderCount":"3","charged":"100020",
        "quoted":"100000"},{"currencyCode":"JPY","orderCount":"2","charged":"500"},
        {"currencyCode":"USD","orderCount":"1","charged":"100","quoted":"100"}])"),
       "  charged        nearly as quoted, 1000.20 EUR for 1000.00 EUR, over 3 orders\n"
       "                 500 JPY for 0 JPY quoted, over 2 orders\n"
       "                 as quoted, 1.00 USD for 1.00 USD, over 1 order\n"},
      {With(R"("orderCount":"0")"), ""},
      {v1::Risk(), ""}};
  for (const auto& [risk, lines] : cases) {
    EXPECT_EQ(RiskLines(risk, 80), lines);
    v1::Score score;
    score.set_supplier_id("a");
    const std::string without = ShowScore(score, /*explain=*/false, 80);
    const std::string with = ShowScore(score, /*explain=*/false, 80, &risk);
    EXPECT_EQ(with, without.substr(0, without.find("\n\n") + 1) + lines +
                        without.substr(without.find("\n\n") + 1));
  }
}

}  // namespace
}  // namespace plumblane::client
