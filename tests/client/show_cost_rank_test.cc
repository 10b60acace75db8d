// The screens of `rank` by expected cost: show_cost_rank.h, show_cost_parts.h, and what show_rank.h
// says while there are no costs.

#include "client/show_cost_rank.h"

#include <gmock/gmock.h>

#include "client/show_rank.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

// Parts redone by hand: 0.08 x 350 = 28; 0.3 x 40 = 12; 9 x 5 = 45; 0.02 x (0.5 x 1990 + 1254) =
// 44.98; 0.01 x (1 x 1990) = 19.90; 0.04 x 2.5 x 50 = 5; with 1254 landed 1408.88 in all.
constexpr char kAnswer[] = R"({
  "order":"ORDER_EXPECTED_COST","currencyCode":"EUR","candidateCount":2,"asOfTime":
  "2026-10-01T00:00:00Z","halfLife":"3888000s",
  "costBasis":{"itemClass":"toys","lateOrder":"350","dayLate":"40","dayWaiting":"5",
    "unansweredDay":"50","sale":"1990"},
  "candidates":[
   {"rank":1,"share":1,"reason":"lowest expected cost; 607 orders settled","remainingCapacity":"12",
    "score":{"supplierId":"copper-ferry","lane":{"origin":"TR","destination":"DE","service":""}},
    "supplierItem":"CF-20","notes":["gets 62 % of the orders to DE already"],
    "cost":{"expected":1408.88,"standardDeviation":11.2,"low":1391.4,"median":1408,"high":1428.1,
     "cheapestChance":0.83,"landed":"1254","quoted":{"minorUnits":"1254","currencyCode":"EUR"},
     "lateCost":28,"daysLateCost":12,"waitingCost":45,"defectCost":44.98,"lostCost":19.9,
     "unansweredCost":5,"lateShare":0.08,"lateDays":0.3,"waitingDays":9,
     "defectShares":{"damaged":0.02,"lost":0.01},"disputeShare":0.04,"responseDays":2.5,
     "promisedDays":9}},
   {"rank":2,"share":0,"reason":"0.86 EUR dearer: quick, but bad more often",
    "closedUntilDate":"2026-10-05","assumed":true,
    "notes":["closed until 2026-10-05","412.50 EUR paid for 14 orders under way",
     "20.00 USD paid for 14 orders under way",
     "unsafe goods were reported: stop selling them, look up what product-safety law asks of you"],
    "score":{"supplierId":"saffron-depot","lane":{"origin":"IN","destination":"DE",
     "service":"express"}},
    "cost":{"expected":1495.2,"standardDeviation":100,"low":1308.3,"median":1480,"high":1660.5,
     "cheapestChance":0.17,"landed":"875","quoted":{"minorUnits":"950","currencyCode":"USD"},
     "exchangeRate":"1 USD = 0.9213 EUR of 2026-09-01","lateCost":0,"waitingCost":60,
     "waitingDays":12,"defectShares":{"quality":0.1,"unsafe":0.02},"timesAssumed":true}}],
  "excluded":[
   {"supplier":"lotus-works","lane":{"origin":"VN","destination":"DE","service":"express"},
    "reason":"its limit of 150 orders a month is reached"},
   {"supplier":"agave-trail","reason":"no quote for this item"}]})";

v1::RankSuppliersResponse Answer() { return FromJson<v1::RankSuppliersResponse>(kAnswer); }

v1::CostSettings Settings() {
  return FromJson<v1::CostSettings>(R"({"currencyCode":"EUR","classes":[{"shop":"other"},
    {"itemClass":"toys","defects":[{"kind":"damaged","refundShare":0.5,"reship":true},
     {"kind":"lost","refundShare":1}]}]})");
}

TEST(ShowCostRankTest, WholeScreen) {
  EXPECT_EQ(ShowCostRank(Answer(), "DE", nullptr, 80),
            "supplier          landed  late  bad        expected EUR  best  give\n"
            "and lane             EUR     %    %  days        5-95 %     %     %  left\n"
            "1  copper-ferry    12.54   8.0  3.0   9.0         14.09    83   100    12\n"
            "   TR-DE/-                                  13.91-14.28\n"
            "2  saffron-depot    8.75     -   12  12.0         14.95    17     0   any\n"
            "   IN-DE/express                            13.08-16.61\n"
            "\n"
            "late, bad: share of orders; days: from payment to delivery, also while closed;\n"
            "expected: what an order costs in all, with the range of what is believed of it;\n"
            "best: the chance that no other is cheaper; give: share of orders; left: orders\n"
            "it takes this month.\n"
            "\n"
            "1 copper-ferry, TR-DE/-: lowest expected cost; 607 orders settled; it calls the\n"
            "  item CF-20\n"
            "  - gets 62 % of the orders to DE already\n"
            "2 saffron-depot, IN-DE/express: 0.86 EUR dearer: quick, but bad more often\n"
            "  - closed until 2026-10-05\n"
            "  - 412.50 EUR paid for 14 orders under way\n"
            "  - 20.00 USD paid for 14 orders under way\n"
            "  - unsafe goods were reported: stop selling them, look up what product-safety\n"
            "    law asks of you\n"
            "\n"
            "Could not get the order:\n"
            "- lotus-works, VN-DE/express: its limit of 150 orders a month is reached\n"
            "- agave-trail: no quote for this item\n"
            "\n"
            "Not known:\n"
            "- 2 saffron-depot has no settled order there yet: its rates are what it does\n"
            "  elsewhere and others do there.\n"
            "- 2 saffron-depot has too few orders to tell its days: they rest on others, or\n"
            "  on its promise.\n"
            "- 2 saffron-depot promises no day, so no order of it can come late: ask for a\n"
            "  promise.\n"
            "\n"
            "Next order to DE: copper-ferry, TR-DE/-. It is expected to cost 14.09 EUR in\n"
            "all, 12.54 of it landed; that no other is cheaper has a chance of 83 %.\n"
            "\n"
            "older orders count half after 45 days; as of 2026-10-01\n");
}

TEST(ShowCostRankTest, ExplainedScreen) {
  const v1::CostSettings settings = Settings();
  const std::string text = ShowCostRank(Answer(), "DE", &settings, 80);
  EXPECT_THAT(
      text,
      HasSubstr("\n"
                "1  copper-ferry, TR-DE/-\n"
                "   part               share or days x amount              cost\n"
                "   landed             quoted 12.54 EUR                 12.5400\n"
                "   late orders        0.0800 x 3.50                     0.2800\n"
                "   days late          0.3000 x 0.40                     0.1200\n"
                "   days waiting       9.0000 x 0.05                     0.4500\n"
                "   bad goods          these together:                   0.4498\n"
                "     damaged          0.0200 x (0.5 x 19.90 + 12.54)  0.4498\n"
                "   lost               0.0100 x (1 x 19.90)              0.1990\n"
                "   unanswered claims  0.0400 x 2.5000 x 0.50            0.0500\n"
                "   sum                in EUR                           14.0888\n"
                "   promise: 9 days\n"
                "   range: 5 % below 13.91, half below 14.08, 5 % above 14.28; standard deviation\n"
                "   0.1120\n"
                "\n"
                "2  saffron-depot, IN-DE/express\n"
                "   part               share or days x amount      cost\n"
                "   landed             quoted 9.50 USD           8.7500\n"
                "   late orders        0.0000 x 3.50             0.0000\n"
                "   days late          0.0000 x 0.40             0.0000\n"
                "   days waiting       12.0000 x 0.05            0.6000\n"
                "   bad goods          these together:           0.0000\n"
                "     poor quality     0.1000 x 0              0.0000\n"
                "     unsafe           0.0200 x 0              0.0000\n"
                "   lost               0                         0.0000\n"
                "   unanswered claims  0.0000 x 0.0000 x 0.50    0.0000\n"
                "   sum                in EUR                   14.9520\n"
                "   rate: 1 USD = 0.9213 EUR of 2026-09-01\n"
                "   promise: none, so no order is late\n"
                "   range: 5 % below 13.08, half below 14.80, 5 % above 16.61; standard deviation\n"
                "   1.0000\n"
                "   its days rest on others, or on its promise\n"));
  EXPECT_LE(WidestLine(text), 80);
}

TEST(ShowCostRankTest, SharesStandAloneWhenTheirCostsAreNotKnown) {
  const v1::CostSettings other = FromJson<v1::CostSettings>(R"({"classes":[{"shop":"other"}]})");
  const std::string text = ShowCostRank(Answer(), "DE", &other, 80);
  EXPECT_THAT(text, HasSubstr("     damaged          0.0200 of orders\n"));
}

TEST(ShowCostRankTest, CostsThatChangedSinceAreSaid) {
  v1::CostSettings settings = Settings();
  settings.mutable_classes(1)->mutable_defects(0)->set_reship(false);
  EXPECT_THAT(ShowCostRank(Answer(), "DE", &settings, 1000),
              HasSubstr("the costs that hold now are not those that this was reckoned with"));
  v1::RankSuppliersResponse answer = Answer();
  answer.mutable_candidates(0)->mutable_cost()->set_late_by_arrivals(true);
  settings = Settings();
  EXPECT_THAT(ShowCostRank(answer, "DE", &settings, 1000),
              HasSubstr("   promise: 9 days; its orders were promised other days, so late is the "
                        "share that would arrive after these\n"));
}

TEST(ShowCostRankTest, LargeAmountsAndLongNamesFit) {
  v1::RankSuppliersResponse answer = Answer();
  for (v1::Candidate& candidate : *answer.mutable_candidates()) {
    candidate.set_rank(10);
    candidate.set_remaining_capacity(12'345);
    candidate.mutable_score()->set_supplier_id("the-very-long-name-of-a-supplier");
    candidate.mutable_cost()->set_landed(123'456);
    candidate.mutable_cost()->set_expected(145'678.2);
    candidate.mutable_cost()->set_low(123'456);
    candidate.mutable_cost()->set_high(234'567);
  }
  const v1::CostSettings settings = Settings();
  const std::string text = ShowCostRank(answer, "DE", &settings, 80);
  EXPECT_LE(WidestLine(text), 80) << text;
  EXPECT_THAT(text, HasSubstr("1234.56-2345.67"));
}

TEST(ShowCostRankTest, AmountsFollowTheCurrency) {
  v1::RankSuppliersResponse answer = Answer();
  answer.set_currency_code("JPY");
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 80),
              HasSubstr("It is expected to cost 1409 JPY"));
  answer.set_currency_code("KWD");
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 80),
              HasSubstr("It is expected to cost 1.409 KWD"));
}

TEST(ShowCostRankTest, TrialsComeWithACaution) {
  v1::RankSuppliersResponse answer = Answer();
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 80), Not(HasSubstr("real customers")));
  answer.set_trials_on(true);
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 1000),
              HasSubstr(" Trials are on, but none is worth its cost here.\n"));
  answer.mutable_candidates(0)->set_share(.9);
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 1000),
              HasSubstr("it gets 90 % of such orders, others the rest, to learn how they do. Trial "
                        "orders go to real customers."));
}

TEST(ShowCostRankTest, NoSaleIsSaid) {
  v1::RankSuppliersResponse answer = Answer();
  answer.mutable_cost_basis()->clear_sale();
  EXPECT_THAT(ShowCostRank(answer, "DE", nullptr, 1000),
              HasSubstr("What the customer pays is not known: shares of it refunded count as "
                        "nothing."));
}

TEST(ShowRankTest, WhyNotByCostIsSaid) {
  v1::RankSuppliersResponse answer;
  v1::Candidate& candidate = *answer.add_candidates();
  candidate.set_rank(1);
  candidate.mutable_score()->set_supplier_id("a");
  answer.set_order(v1::RankSuppliersResponse::ORDER_LATE_OR_BAD_SHARE);
  answer.set_order_reason("no quotes yet: plumblane quotes load");
  v1::ExcludedCandidate& excluded = *answer.add_excluded();
  excluded.set_supplier("b");
  excluded.set_reason("paused until resumed: quality");
  EXPECT_THAT(ShowRank(answer, "DE", /*explain=*/false, 80),
              HasSubstr("\nCould not get the order:\n- b: paused until resumed: quality\n"
                        "\nNot by expected cost: no quotes yet: plumblane quotes load\n"));
}

TEST(ShowRankTest, NotesStandWithTheirCandidate) {
  v1::RankSuppliersResponse answer;
  for (const char* id : {"copper-ferry", "lotus-works"}) {
    v1::Candidate& candidate = *answer.add_candidates();
    candidate.set_rank(answer.candidates_size());
    candidate.set_reason("expect 1 in 12 late");
    candidate.mutable_score()->set_supplier_id(id);
    candidate.mutable_score()->mutable_lane()->set_origin("TR");
  }
  answer.mutable_candidates(1)->add_notes("not heard of for 12 days");
  answer.mutable_candidates(1)->add_notes(
      "unsafe goods were reported: stop selling them, look up what product-safety law asks of you");
  EXPECT_THAT(ShowRank(answer, "DE", /*explain=*/false, 80),
              HasSubstr("      0\n\n"
                        "2 lotus-works from TR:\n"
                        "  - not heard of for 12 days\n"
                        "  - unsafe goods were reported: stop selling them, look up what "
                        "product-safety\n"
                        "    law asks of you\n\nNothing to choose by"));
  const std::string explained = ShowRank(answer, "DE", /*explain=*/true, 80);
  EXPECT_THAT(explained, HasSubstr("2 lotus-works from TR: expect 1 in 12 late\n"
                                   "  - not heard of for 12 days\n  - unsafe goods"));
  EXPECT_THAT(explained, HasSubstr("law asks of you\n   weight 0.0 on time"));
  EXPECT_LE(WidestLine(explained), 80);
}

TEST(AmountTextTest, MinorUnitsBecomeMajorOnes) {
  EXPECT_EQ(AmountText(1408.88, "EUR"), "14.09");
  EXPECT_EQ(AmountText(-0.3, "EUR"), "0.00");
  EXPECT_EQ(AmountText(-40, "EUR"), "-0.40");
  EXPECT_EQ(AmountText(1408.5, "JPY"), "1409");
  EXPECT_EQ(AmountText(5, "KWD"), "0.005");
  EXPECT_EQ(FineAmountText(1408.88, "EUR"), "14.0888");
  EXPECT_EQ(FineAmountText(-0.001, "EUR"), "0.0000");
  EXPECT_EQ(FineAmountText(-1, "EUR"), "-0.0100");
  EXPECT_EQ(FineAmountText(1408.88, "JPY"), "1408.88");
}

}  // namespace
}  // namespace plumblane::client
