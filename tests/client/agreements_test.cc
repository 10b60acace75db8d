// Whole commands that load, list and pause, against a fake daemon.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class AgreementsTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments, const std::string& input = "") {
    return RunProgram(arguments, daemon_.address(), input);
  }

  FakeDaemon daemon_;
  TemporaryFolder folder_;
};

constexpr char kQuotes[] =
    "supplier,item,lane,price,currency\n"
    "lotus-works,kite,VN-DE,11.14,EUR\n"
    "lotus-works,*,VN-DE,14.00,EUR\n";

TEST_F(AgreementsTest, LoadTellsWhatWasTaken) {
  daemon_.state.load.set_unchanged_count(1);
  daemon_.state.load.add_notes("no order names copper-fery yet");
  const Result result = Run({"quotes", "load", folder_.Write("q.csv", kQuotes)});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.err, "");
  EXPECT_EQ(result.out, "loaded 2 quotes; 1 held already\nnote: no order names copper-fery yet\n");
  EXPECT_FALSE(daemon_.state.quotes_load.validate_only());
  EXPECT_EQ(daemon_.state.quotes_load.quotes(1).item(), "*");
}

TEST_F(AgreementsTest, EveryTableLoadsFromNdjsonToo) {
  EXPECT_EQ(Run({"terms", "load", "-"}, R"({"supplier":"a","monthly_order_limit":300})").code,
            kDone);
  EXPECT_EQ(daemon_.state.terms_load.terms(0).monthly_order_limit(), 300);
  EXPECT_EQ(
      Run({"rates", "load", "-"}, R"({"date":"2026-09-01","from":"USD","to":"EUR","rate":0.92})")
          .out,
      "loaded 1 rate\n");
  EXPECT_EQ(daemon_.state.rates_load.rates(0).rate(), "0.92");  // its digits as written
  EXPECT_EQ(Run({"items", "load", "-"}, R"({"item":"kite","class":"toys"})").code, kDone);
  EXPECT_EQ(daemon_.state.items_load.items(0).item_class(), "toys");
}

// Rows 2 and 5 of the file are wrong in form; of the other three the daemon refuses the second.
TEST_F(AgreementsTest, WrongRowsAreToldTogetherAndNothingIsLoaded) {
  v1::RowError& error = *daemon_.state.load.add_errors();
  error.set_index(1);
  error.set_field("price.minor_units");
  error.set_message("expected at most 1000.00");
  const std::string file = folder_.Write("q.csv",
                                         "supplier,item,lane,price,currency\n"
                                         "a,kite,VN-DE,1,EUR\n"
                                         "a,kite,VNDE,1,EUR\n"
                                         "a,mug,VN-DE,9999,EUR\n"
                                         "a,mug,VN-SE,1,EUR\n"
                                         "a,mug,VN-NZ,1,EURO\n");
  const Result result = Run({"quotes", "load", file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.out, "");
  EXPECT_TRUE(daemon_.state.quotes_load.validate_only());
  EXPECT_EQ(daemon_.state.quotes_load.quotes_size(), 3);
  EXPECT_THAT(result.err, AllOf(HasSubstr(file + ": line 3: lane: expected a lane such as VN-DE"),
                                HasSubstr(file + ": line 4: price: expected at most 1000.00\n"),
                                HasSubstr(file + ": line 6: currency: expected a currency"),
                                HasSubstr("nothing was loaded: 3 of 5 rows are wrong (" + file +
                                          ".rejected)\n")));
  EXPECT_THAT(ReadFile(file + ".rejected"), HasSubstr("\"text\":\"a,mug,VN-DE,9999,EUR\""));
  const auto json = nlohmann::json::parse(Run({"quotes", "load", file, "--json"}).out);
  EXPECT_EQ(json["loadedCount"], 0);
  ASSERT_EQ(json["errors"].size(), 3u);
  EXPECT_EQ(json["errors"][1]["index"], 2);  // rows of the file
  EXPECT_EQ(json["errors"][1]["field"], "price");
}

TEST_F(AgreementsTest, WrongFormAloneIsNotLoadedEither) {
  const Result result =
      Run({"quotes", "load", "-"}, std::string(kQuotes) + "lotus-works,mug,VN-DE,x,EUR\n");
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_TRUE(daemon_.state.quotes_load.validate_only());
  EXPECT_THAT(result.err, HasSubstr("nothing was loaded: 1 of 3 rows is wrong (stdin.rejected)"));
  std::remove("stdin.rejected");
}

TEST_F(AgreementsTest, UnknownColumnsAreNamed) {
  const Result result =
      Run({"items", "load", folder_.Write("i.csv", "item,clas,colour\nkite,toys,red\n")});
  EXPECT_EQ(result.code, kUsage);
  EXPECT_THAT(result.err,
              HasSubstr("unknown columns \"clas\" (class?) and \"colour\"; expected of "
                        "item, class, supplier and supplier_item\nnothing was loaded\n"));
  const Result missing = Run({"rates", "load", folder_.Write("r.csv", "date,from,to\n")});
  EXPECT_EQ(missing.code, kUsage);
  EXPECT_THAT(missing.err, HasSubstr("names no column `rate`; every row needs it"));
  EXPECT_EQ(daemon_.state.loads, 0);
}

TEST_F(AgreementsTest, FileWithoutRowsOrNoFileAtAll) {
  const Result empty = Run({"items", "load", folder_.Write("i.csv", "item,class\n")});
  EXPECT_EQ(empty.code, kSomeRejected);
  EXPECT_THAT(empty.err, HasSubstr("there is no row in it\nnothing was loaded\n"));
  EXPECT_EQ(Run({"items", "load", folder_.Path("none.csv")}).code, kFailed);
  EXPECT_EQ(daemon_.state.loads, 0);
}

TEST_F(AgreementsTest, DaemonOutOfReach) {
  const std::string file = folder_.Write("q.csv", kQuotes);
  for (const std::vector<std::string>& words : {std::vector<std::string>{"quotes", "load", file},
                                                {"quotes", "list"},
                                                {"terms", "list"},
                                                {"rates", "list"},
                                                {"items", "list"},
                                                {"costs", "show"},
                                                {"costs", "propose"},
                                                {"pause", "a", "--reason", "x"},
                                                {"resume", "a"},
                                                {"assignments"},
                                                {"assign", "1", "--to", "DE"}}) {
    EXPECT_EQ(RunProgram(words, "unix:/nowhere/socket").code, kOutOfReach) << words[0];
  }
}

TEST_F(AgreementsTest, QuotesListFollowsEveryPageAndPassesItsFilters) {
  daemon_.state.page_size = 1;
  for (const char* item : {"kite", "mug", "lamp"}) {
    v1::QuoteStatus& status = daemon_.state.quotes.emplace_back();
    status.mutable_quote()->set_supplier("lotus-works");
    status.mutable_quote()->set_item(item);
  }
  const Result result = Run(
      {"quotes", "list", "--supplier", "lotus-works", "--item", "kite", "--to", "de", "--past"});
  EXPECT_THAT(result.out, AllOf(HasSubstr("  kite"), HasSubstr("  mug"), HasSubstr("  lamp")));
  const v1::ListQuotesRequest& request = daemon_.state.quotes_request;
  EXPECT_EQ(request.supplier() + request.item() + request.destination(), "lotus-workskiteDE");
  EXPECT_TRUE(request.with_past());
  EXPECT_EQ(nlohmann::json::parse(Run({"quotes", "list", "--json"}).out)["quotes"].size(), 3u);
  EXPECT_FALSE(request.with_past());
}

TEST_F(AgreementsTest, QuotesSayHowLongTheyHold) {
  const auto list = FromJson<v1::ListQuotesResponse>(R"({"quotes":[
    {"quote":{"supplier":"lotus-works","item":"basket-willow-small","origin":"VN",
     "destination":"DE","service":"express","price":{"minorUnits":1375,"currencyCode":"EUR"},
     "promisedDays":"5-8 working","validUntil":"2026-10-06"},"state":"STATE_VALID","ageDays":40,
     "daysLeft":6},
    {"quote":{"supplier":"lotus-works","item":"*","origin":"VN","destination":"DE",
     "price":{"minorUnits":1400,"currencyCode":"USD"},
     "freight":{"minorUnits":350,"currencyCode":"USD"},
     "duty":{"minorUnits":80,"currencyCode":"USD"},"minimumUnits":"10"},
     "state":"STATE_VALID","ageDays":3},
    {"quote":{"supplier":"copper-ferry","supplierItem":"K-7","origin":"TR","destination":"DE",
     "price":{"minorUnits":1000,"currencyCode":"EUR"},"promisedDays":"8",
     "validUntil":"2026-09-15"},"state":"STATE_EXPIRED","ageDays":120},
    {"quote":{"supplier":"copper-ferry","item":"mug","origin":"TR","destination":"DE",
     "price":{"minorUnits":1000,"currencyCode":"EUR"},"promisedDays":"8"},
     "state":"STATE_REPLACED","ageDays":120}]})");
  daemon_.state.quotes.assign(list.quotes().begin(), list.quotes().end());
  EXPECT_EQ(Run({"quotes", "list"}).out,
            "                                  promised     days\n"
            "  item                     price  days          old  holds\n"
            "copper-ferry, TR-DE\n"
            "  their K-7            10.00 EUR  8             120  expired 2026-09-15\n"
            "  mug                  10.00 EUR  8             120  replaced\n"
            "lotus-works, VN-DE\n"
            "  any item             14.00 USD  none            3\n"
            "    and 3.50 USD freight an order and 0.80 USD duty a unit; from 10 units on\n"
            "lotus-works, VN-DE/express\n"
            "  basket-willow-small  13.75 EUR  5-8 working    40  ends in 5 days\n"
            "\n"
            "1 quote ends within 14 days: ask for new ones.\n");
}

TEST_F(AgreementsTest, EndsOfQuotesAreSaidInWords) {
  const auto list = FromJson<v1::ListQuotesResponse>(R"({"quotes":[
    {"state":"STATE_VALID","daysLeft":1,"quote":{"validUntil":"2026-10-01"}},
    {"state":"STATE_VALID","daysLeft":2,"quote":{"validUntil":"2026-10-02"}},
    {"state":"STATE_VALID","daysLeft":14,"quote":{"validUntil":"2026-10-14"}},
    {"state":"STATE_VALID","daysLeft":15,"quote":{"validUntil":"2026-10-15"}},
    {"state":"STATE_NOT_YET","quote":{"validFrom":"2026-10-20"}}]})");
  daemon_.state.quotes.assign(list.quotes().begin(), list.quotes().end());
  const std::string text = Run({"quotes", "list"}).out;
  EXPECT_THAT(text, AllOf(HasSubstr("  ends today\n"), HasSubstr("  ends tomorrow\n"),
                          HasSubstr("  ends in 13 days\n"), HasSubstr("  until 2026-10-15\n"),
                          HasSubstr("  from 2026-10-20\n"),
                          HasSubstr("\n3 quotes end within 14 days: ask for new ones.\n")));
}

TEST_F(AgreementsTest, TermsTellWhereTheMonthStands) {
  daemon_.state.terms.push_back(FromJson<v1::TermsStatus>(R"({"supplier":"lotus-works",
    "terms":{"supplier":"lotus-works","monthlyOrderLimit":"150","monthStartDay":20,
     "nextStepCost":{"minorUnits":4900,"currencyCode":"EUR"},"claimDays":14,
     "promisedDays":"5-8","origin":"VN","service":"express",
     "closures":[{"firstDate":"2026-12-24","lastDate":"2026-12-31"},
      {"firstDate":"2027-02-05","lastDate":"2027-02-05"}],
     "targets":{"onTime":0.95,"defect":0.03,"deliveryDays":12.5,"responseDays":1},
     "tags":["air","small"]},
    "pause":{"untilDate":"2026-12-01","reason":"quality"},
    "monthPaidCount":"130","monthAssignedCount":"8","nextMonthDate":"2026-10-20"})"));
  daemon_.state.terms.push_back(FromJson<v1::TermsStatus>(R"({"supplier":"amber-gate",
    "pause":{"reason":"strike"},"monthPaidCount":"3","nextMonthDate":"2026-11-01"})"));
  EXPECT_EQ(Run({"terms", "list"}).out,
            "lotus-works\n"
            "  paused      until 2026-12-01: quality\n"
            "  this month  130 paid, 8 assigned of at most 150: 12 left; the next month\n"
            "              starts 2026-10-20\n"
            "  next step   costs 49.00 EUR\n"
            "  claims      within 14 days\n"
            "  promises    5-8 days\n"
            "  ships       from VN by express\n"
            "  closed      2026-12-24 to 2026-12-31, 2027-02-05\n"
            "  targets     95 % on time, at most 3 % bad or lost, 9 in 10 delivered within\n"
            "              12.5 days, 9 in 10 answered within 1 day\n"
            "  tags        air small\n"
            "\n"
            "amber-gate\n"
            "  paused      until resumed: strike\n"
            "  this month  3 paid, 0 assigned; the next month starts 2026-11-01\n"
            "  terms       none were loaded\n");
  EXPECT_THAT(Run({"terms", "list", "--supplier", "amber-gate"}).out, Not(HasSubstr("lotus")));
}

TEST_F(AgreementsTest, PauseAndResume) {
  const Result paused = Run({"pause", "a", "--until", "2026-12-01", "--reason", "unsafe toys"});
  EXPECT_EQ(
      paused.out,
      "a is paused until 2026-12-01: unsafe toys. It gets no orders from rank and\nassign.\n");
  EXPECT_EQ(daemon_.state.pause_request.pause().until_date(), "2026-12-01");
  EXPECT_EQ(Run({"resume", "a"}).out, "a gets orders again\n");
  const Result other = Run({"resume", "b"});
  EXPECT_EQ(other.code, kFailed);
  EXPECT_EQ(other.err, "b is not paused\n");
}

TEST_F(AgreementsTest, RatesAndItems) {
  EXPECT_EQ(Run({"rates", "list"}).out, "no rates; load some with \"plumblane rates load FILE\"\n");
  daemon_.state.rates = FromJson<v1::ListExchangeRatesResponse>(
      R"({"rates":[{"date":"2026-09-01","fromCurrency":"USD","toCurrency":"EUR","rate":"0.92"}]})");
  EXPECT_EQ(Run({"rates", "list"}).out, "from   to   rate  of\n1 USD  EUR  0.92  2026-09-01\n");
  daemon_.state.items = FromJson<v1::ListItemsResponse>(
      R"({"items":[{"item":"kite","itemClass":"toys"},
                   {"item":"kite","supplier":"a","supplierItem":"K 7"}]})");
  EXPECT_EQ(Run({"items", "list"}).out,
            "item  class  supplier  calls it\nkite  toys\nkite         a         K 7\n");
}

TEST_F(AgreementsTest, CostsGoInAndComeOut) {
  const Result none = Run({"costs", "show"});
  EXPECT_EQ(none.code, kFailed);
  EXPECT_THAT(none.err, HasSubstr("\"plumblane costs propose\""));
  const std::string text = "currency = \"EUR\"\n\n[[class]]\nlate_order = \"3.50\"\n";
  const std::string file = folder_.Write("costs.toml", text);
  EXPECT_EQ(Run({"costs", "load", file}).out, "loaded 1 cost class\n");
  daemon_.state.costs = daemon_.state.costs_load.settings();
  daemon_.state.costs.mutable_load_time()->set_seconds(1'790'812'800);
  const std::string shown = Run({"costs", "show"}).out;
  EXPECT_EQ(shown, "# loaded 2026-10-01\n\n" + text);
  EXPECT_EQ(Run({"costs", "load", "-"}, shown).code, kDone);
}

TEST_F(AgreementsTest, ProposedCostsCanBeLoaded) {
  daemon_.state.proposal = FromJson<v1::ProposeCostsResponse>(R"({"settings":{"currencyCode":"EUR",
    "classes":[{"sale":{"minorUnits":2490,"currencyCode":"EUR"},
      "defects":[{"kind":"damaged","refundShare":0.5,"reship":true}]}]},
    "reasons":["damaged: 31 refunds, on average half of the sale"]})");
  const Result result = Run({"costs", "propose", "--shop", "harbour"});
  EXPECT_THAT(result.out, AllOf(testing::StartsWith("# Proposed from orders so far"),
                                HasSubstr("\n# - damaged: 31 refunds, on average half")));
  EXPECT_EQ(Run({"costs", "load", "-"}, result.out).code, kDone);
  EXPECT_EQ(daemon_.state.costs_load.settings().SerializeAsString(),
            daemon_.state.proposal.settings().SerializeAsString());
}

TEST_F(AgreementsTest, WrongCostsNameTheirLines) {
  const std::string file =
      folder_.Write("costs.toml", "currency = \"EUR\"\n[[class]]\nlate_ordr = \"1\"\nsale = 3\n");
  const Result result = Run({"costs", "load", file});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.err, file + ": line 3: late_ordr: unknown key, did you mean \"late_order\"?\n" +
                            file +
                            ": line 4: sale: expected an amount in quotes, such as "
                            "\"3.50\", not 3\nnothing was loaded\n");
  EXPECT_EQ(daemon_.state.loads, 0);
  v1::RowError& error = *daemon_.state.load.add_errors();
  error.set_index(1);
  error.set_field("sale");
  error.set_message("expected one currency");
  const std::string good =
      folder_.Write("good.toml", "currency = \"EUR\"\n[[class]]\n[[class]]\nshop = \"a\"\n");
  const Result refused = Run({"costs", "load", good, "--json"});
  EXPECT_EQ(refused.code, kSomeRejected);
  EXPECT_THAT(refused.err, HasSubstr(good + ": line 3: sale: expected one currency\n"));
  EXPECT_EQ(nlohmann::json::parse(refused.out)["errors"][0]["field"], "sale");
}

// ---- rank, as far as agreements change it -----------------------------------------------------

TEST_F(AgreementsTest, RankSaysAllThatIsKnownOfTheOrder) {
  Run({"rank", "--to", "de", "--item", "kite", "--units", "2", "--shop", "harbour", "--sale",
       "39.80", "--currency", "eur"});
  EXPECT_EQ(daemon_.state.rank_request.ShortDebugString(),
            "destination: \"DE\" item: \"kite\" unit_count: 2 shop: \"harbour\" sale { "
            "minor_units: 3980 currency_code: \"EUR\" }");
}

TEST_F(AgreementsTest, RankWithoutACandidateTellsWhyForEach) {
  v1::ExcludedCandidate& excluded = *daemon_.state.ranking.add_excluded();
  excluded.set_supplier("a");
  excluded.set_reason("no rate from USD to EUR");
  const Result result = Run({"rank", "--to", "DE", "--service", "express"});
  EXPECT_EQ(result.code, kNoSupplier);
  EXPECT_EQ(result.err,
            "no supplier can get an order to DE by service express:\n"
            "- a: no rate from USD to EUR\n");
}

TEST_F(AgreementsTest, RankByCostAsksForTheCostsOnlyToExplain) {
  daemon_.state.ranking = FromJson<v1::RankSuppliersResponse>(R"({"order":"ORDER_EXPECTED_COST",
    "currencyCode":"EUR","candidates":[{"rank":1,"share":1,"reason":"lowest expected cost",
    "score":{"supplierId":"a","lane":{"origin":"TR","destination":"DE"}},
    "cost":{"expected":1000,"landed":"1000","defectShares":{"damaged":0.5}}}]})");
  EXPECT_EQ(Run({"rank", "--to", "DE"}).code, kDone);
  EXPECT_EQ(Run({"rank", "--to", "DE", "--explain"}).code, kFailed);  // there are no costs
  daemon_.state.costs = FromJson<v1::CostSettings>(
      R"({"classes":[{"defects":[{"kind":"damaged","refundShare":0.25}]}]})");
  const Result result = Run({"rank", "--to", "DE", "--explain"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_THAT(result.out, HasSubstr("damaged          0.5000 x (0.25 x 0)"));
}

TEST_F(AgreementsTest, NothingOfWhatWasAskedIsNotNothing) {
  EXPECT_EQ(Run({"quotes", "list", "--supplier", "a", "--to", "DE"}).out, "no quotes for a, DE\n");
  EXPECT_EQ(Run({"terms", "list", "--supplier", "a"}).out, "no terms for a\n");
  EXPECT_EQ(Run({"items", "list", "--item", "kite"}).out, "no items for kite\n");
  EXPECT_EQ(Run({"terms", "list"}).out, "no terms; load some with \"plumblane terms load FILE\"\n");
}

TEST_F(AgreementsTest, CostsThatCannotBeReadAreNotLoaded) {
  const Result result = Run({"costs", "load", folder_.Path("none.toml")});
  EXPECT_EQ(result.code, kFailed);
  EXPECT_THAT(result.err, HasSubstr("none.toml: No such file or directory\nnothing was loaded\n"));
}

// ---- sample-events/agreements -----------------------------------------------------------------

TEST_F(AgreementsTest, SampleAgreementsRead) {
  const std::string folder = std::string(PLUMBLANE_SAMPLES) + "/agreements/";
  EXPECT_EQ(Run({"quotes", "load", folder + "quotes.csv"}).out, "loaded 131 quotes\n");
  EXPECT_EQ(Run({"terms", "load", folder + "terms.csv"}).out, "loaded 7 suppliers\n");
  EXPECT_EQ(Run({"rates", "load", folder + "rates.csv"}).out, "loaded 4 rates\n");
  EXPECT_EQ(Run({"items", "load", folder + "items.csv"}).out, "loaded 30 items\n");
  EXPECT_EQ(Run({"costs", "load", folder + "costs.toml"}).out, "loaded 3 cost classes\n");
  EXPECT_EQ(Run({"assign", "--file", folder + "open-orders.csv"}).err, "12 orders assigned\n");
}

}  // namespace
}  // namespace plumblane::client
