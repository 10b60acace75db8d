// `assign` and `assignments` against a fake daemon: what is asked, said and written.

#include <gmock/gmock.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/picks.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

v1::AssignOrderResult Picked() {
  return FromJson<v1::AssignOrderResult>(R"({"assignment":{"shop":"harbour","orderId":"1043",
    "part":1,"assignTime":"2026-10-01T08:30:00Z","supplier":"lotus-works","lane":{"origin":"VN",
    "destination":"DE","service":"express"},"item":"kite","supplierItem":"LW-7","unitCount":"2",
    "mode":"MODE_SHARED","reason":"drawn: 10 in 100 such orders go to it","currencyCode":"EUR",
    "candidates":[
     {"supplier":"paused","lane":{"origin":"TR"},"expectedCost":1,"excluded":"paused"},
     {"supplier":"copper-ferry","lane":{"origin":"TR","destination":"DE"},"landed":"1200",
      "expectedCost":1400},
     {"supplier":"lotus-works","lane":{"origin":"VN","destination":"DE","service":"express"},
      "landed":"1114","expectedCost":1440}]}})");
}

class AssignTest : public testing::Test {
 protected:
  Result Run(const std::vector<std::string>& arguments, const std::string& input = "") {
    return RunProgram(arguments, daemon_.address(), input);
  }
  void Answer(const v1::AssignOrderResult& result) {
    daemon_.state.assign = [result](const v1::OrderToAssign&, v1::AssignOrderResult* to) {
      *to = result;
    };
  }
  const v1::AssignOrdersRequest& request() const { return daemon_.state.assign_requests.back(); }

  FakeDaemon daemon_;
  TemporaryFolder folder_;
};

TEST_F(AssignTest, QuestionSaysAllThatWasSaid) {
  EXPECT_EQ(Run({"assign",       "harbour/1043", "--to",       "de",
                 "--item",       "kite",         "--units",    "2",
                 "--sale",       "39.80",        "--currency", "EUR",
                 "--from",       "vn",           "--service",  "-",
                 "--supplier",   "lotus-works",  "--reason",   "asked for it",
                 "--instead-of", "copper-ferry", "--dry-run"})
                .code,
            kDone);
  EXPECT_EQ(request().ShortDebugString(),
            "orders { shop: \"harbour\" order_id: \"1043\" destination: \"DE\" item: \"kite\" "
            "unit_count: 2 sale { minor_units: 3980 currency_code: \"EUR\" } origin: \"VN\" "
            "service: \"\" } dry_run: true supplier: \"lotus-works\" reason: \"asked for it\" "
            "instead_of: \"copper-ferry\"");
  Run({"assign", "1043", "--to", "DE"});
  EXPECT_EQ(request().ShortDebugString(),
            "orders { shop: \"default\" order_id: \"1043\" destination: \"DE\" }");
  Run({"assign", "1043", "--to", "DE", "--shop", "meadow"});
  EXPECT_EQ(request().orders(0).shop(), "meadow");
}

TEST_F(AssignTest, PickIsTold) {
  Answer(Picked());
  EXPECT_EQ(Run({"assign", "harbour/1043", "--to", "DE"}).out,
            "order harbour/1043 goes to lotus-works, VN-DE/express\n"
            "  item       kite, 2 units; it calls it LW-7\n"
            "  cost       11.14 EUR landed, 14.40 EUR expected in all\n"
            "  why        drawn: 10 in 100 such orders go to it\n");
  const auto json = nlohmann::json::parse(Run({"assign", "1043", "--to", "DE", "--json"}).out);
  EXPECT_EQ(json["results"][0]["assignment"]["supplier"], "lotus-works");
}

TEST_F(AssignTest, TrialsChoicesRepeatsAndDryRunsSaySo) {
  v1::AssignOrderResult result = Picked();
  result.mutable_assignment()->set_trial(true);
  result.mutable_assignment()->set_dearer(40);
  Answer(result);
  EXPECT_THAT(
      Run({"assign", "1043", "--to", "DE", "--dry-run"}).out,
      AllOf(HasSubstr("order harbour/1043 would go to lotus-works"),
            HasSubstr("\n  trial      trial order, about 0.40 EUR dearer than copper-ferry\n"),
            HasSubstr("\n  kept       nothing: this was a dry run\n")));
  result.mutable_assignment()->set_trial(false);
  result.mutable_assignment()->set_mode(v1::Assignment::MODE_CHOSEN);
  result.mutable_assignment()->set_part(2);
  result.mutable_assignment()->set_instead_of("amber-gate");
  result.set_existed(true);
  Answer(result);
  EXPECT_THAT(Run({"assign", "1043", "--to", "DE"}).out,
              AllOf(HasSubstr("order harbour/1043#2 goes to"),
                    HasSubstr("\n  already    assigned 2026-10-01 08:30 UTC; nothing changed\n"),
                    HasSubstr("\n  instead of amber-gate\n"),
                    HasSubstr("\n  own choice about 0.40 EUR dearer than copper-ferry\n")));
}

TEST_F(AssignTest, NoneEligibleTellsWhyForEach) {
  Answer(FromJson<v1::AssignOrderResult>(R"({"code":"CODE_NONE_ELIGIBLE",
    "problem":"no supplier is eligible","excluded":[
     {"supplier":"a","lane":{"origin":"VN","destination":"NZ"},"reason":"no quote for this item"},
     {"supplier":"b","reason":"paused until 2026-12-01: quality"}]})"));
  const Result result = Run({"assign", "1043", "--to", "NZ", "--from", "VN"});
  EXPECT_EQ(result.code, kNoSupplier);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err,
            "no supplier can get order default/1043 to NZ from VN:\n"
            "- a, VN-NZ: no quote for this item\n"
            "- b: paused until 2026-12-01: quality\n");
}

TEST_F(AssignTest, WrongOrderIsRejected) {
  Answer(FromJson<v1::AssignOrderResult>(
      R"({"code":"CODE_BAD_VALUE","field":"unit_count","problem":"expected at most 10"})"));
  const Result bad = Run({"assign", "1043", "--to", "NZ"});
  EXPECT_EQ(bad.code, kSomeRejected);
  EXPECT_EQ(bad.err, "order default/1043 was not assigned: units: expected at most 10\n");
  Answer(FromJson<v1::AssignOrderResult>(
      R"({"code":"CODE_ASSIGNED_ALREADY","problem":"assigned to a already"})"));
  EXPECT_EQ(Run({"assign", "1043", "--to", "NZ"}).code, kSomeRejected);
}

// ---- files ------------------------------------------------------------------------------------

constexpr char kOpen[] =
    "order_id,shop,destination,item,units,sale,currency,origin,service\n"
    "1043,harbour,DE,kite,2,39.80,EUR,,\n"
    "1044,,SE,mug,,,,,-\n";
constexpr char kPickColumns[] =
    "order_id,shop,destination,item,units,sale,currency,part,supplier,supplier_item,origin,service,"
    "landed,landed_currency,trial,reason,problem\r\n";

TEST_F(AssignTest, PicksOfAFile) {
  Answer(Picked());
  const std::string picks = folder_.Path("picks.csv");
  const Result result =
      Run({"assign", "--file", folder_.Write("open.csv", kOpen), "-o", picks, "--shop", "meadow"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_EQ(result.out, "");
  EXPECT_EQ(result.err, "2 orders assigned\n");
  EXPECT_EQ(
      ReadFile(picks),
      std::string(kPickColumns) +
          "1043,harbour,DE,kite,2,39.80,EUR,1,lotus-works,LW-7,VN,express,11.14,EUR,no,drawn: "
          "10 in 100 such orders go to it,\r\n"
          "1044,meadow,SE,mug,1,,,1,lotus-works,LW-7,VN,express,11.14,EUR,no,drawn: 10 in 100 "
          "such orders go to it,\r\n");
  EXPECT_FALSE(request().orders(0).has_service());
  EXPECT_TRUE(request().orders(1).has_service());
}

TEST_F(AssignTest, WithoutAFilePicksArePrinted) {
  const Result result = Run({"assign", "--file", "-"}, kOpen);
  EXPECT_THAT(result.out, testing::StartsWith(kPickColumns));
  const Result json = Run({"assign", "--file", "-", "--json", "--dry-run"}, kOpen);
  EXPECT_EQ(nlohmann::json::parse(json.out)["results"].size(), 2u);
  EXPECT_EQ(json.err, "2 orders would be assigned\n");
  EXPECT_TRUE(request().dry_run());
}

TEST_F(AssignTest, WrongOrdersHaveAProblemAndTheOthersASupplier) {
  daemon_.state.assign = [](const v1::OrderToAssign& order, v1::AssignOrderResult* result) {
    if (order.order_id() == "1045") {
      result->set_code(v1::AssignOrderResult::CODE_BAD_VALUE);
      result->set_field("unit_count");
      result->set_problem("expected less, or more");
      return;
    }
    *result = Picked();
    result->set_existed(order.order_id() == "1043");
    result->mutable_assignment()->set_trial(order.order_id() == "1046");
  };
  const std::string file = folder_.Write("open.csv",
                                         "order_id,destination,sale\n"
                                         "1043,DE,\n"
                                         "1044,D,\n"
                                         "1045,DE,\n"
                                         "1046,DE,\n"
                                         "1047,DE,9.90\n"
                                         "1048\n");
  const std::string picks = folder_.Path("picks.csv");
  const Result result = Run({"assign", "--file", file, "-o", picks});
  EXPECT_EQ(result.code, kSomeRejected);
  EXPECT_EQ(result.err,
            "order default/1044: line 3: destination: expected 2 to 16 letters or digits, such as "
            "VN, not \"D\"\n"
            "order default/1045: units: expected less, or more\n"
            "order default/1047: line 6: currency: expected a value, such as EUR\n"
            "line 7: expected 3 columns as in the first line, found 1; a text with a comma in it "
            "must stand in quotes\n"
            "1 order assigned, 1 assigned before, 4 wrong; 1 trial among them\n");
  EXPECT_EQ(request().orders_size(), 3);
  const std::string text = ReadFile(picks);
  EXPECT_THAT(text,
              HasSubstr("\n1045,default,DE,,1,,,,,,,,,,,,\"units: expected less, or more\"\r\n"));
  EXPECT_THAT(text, HasSubstr(",yes,drawn"));
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 7);
}

TEST_F(AssignTest, OneOrderWithoutASupplierIsExitCodeFive) {
  daemon_.state.assign = [](const v1::OrderToAssign& order, v1::AssignOrderResult* result) {
    if (order.order_id() == "1043") {
      *result = Picked();
      return;
    }
    result->set_code(v1::AssignOrderResult::CODE_NONE_ELIGIBLE);
    result->set_problem("no supplier is eligible");
    result->add_excluded()->set_supplier("a");
    result->mutable_excluded(0)->set_reason("its limit of 3 orders a month is reached");
  };
  const Result result = Run({"assign", "--file", "-"}, std::string(kOpen) + "x,,D,,,,,,\n");
  EXPECT_EQ(result.code, kNoSupplier);
  EXPECT_THAT(result.err, AllOf(HasSubstr("order default/1044: no supplier is eligible\n"
                                          "- a: its limit of 3 orders a month is reached\n"),
                                HasSubstr("1 order assigned, 1 without a supplier, 1 wrong\n")));
}

TEST_F(AssignTest, BatchesHoldAThousand) {
  std::string file = "order_id,destination\n";
  for (int i = 0; i < 2001; ++i) file += std::to_string(i) + ",DE\n";
  const Result result = Run({"assign", "--file", "-"}, file);
  EXPECT_EQ(result.code, kDone);
  ASSERT_EQ(daemon_.state.assign_requests.size(), 3u);
  EXPECT_EQ(daemon_.state.assign_requests[0].orders_size(), 1000);
  EXPECT_EQ(daemon_.state.assign_requests[2].orders_size(), 1);
  EXPECT_THAT(result.out, HasSubstr("\n2000,default,DE,,1,,,1,lotus-works,"));
}

TEST_F(AssignTest, BrokenOffLeavesTheOldPicksAndSaysHowToGoOn) {
  daemon_.state.assign_breaks_after = 1;
  std::string file = "order_id,destination\n";
  for (int i = 0; i < 1500; ++i) file += std::to_string(i) + ",DE\n";
  const std::string picks = folder_.Write("picks.csv", "old");
  const Result result = Run({"assign", "--file", "-", "-o", picks}, file);
  EXPECT_EQ(result.code, kOutOfReach);
  EXPECT_THAT(result.err, HasSubstr("1,000 orders went through before this; run it again, they "
                                    "keep their supplier\n"));
  EXPECT_EQ(ReadFile(picks), "old");
}

TEST_F(AssignTest, FilesThatCannotBeReadOrWritten) {
  const Result columns =
      Run({"assign", "--file", folder_.Write("o.csv", "order_id,destination,customer\n1,DE,x\n")});
  EXPECT_EQ(columns.code, kUsage);
  EXPECT_THAT(columns.err, HasSubstr("unknown column \"customer\""));
  EXPECT_EQ(Run({"assign", "--file", folder_.Path("none.csv")}).code, kFailed);
  EXPECT_TRUE(daemon_.state.assign_requests.empty());
  const Result nowhere = Run({"assign", "--file", "-", "-o", folder_.Path("no/picks.csv")}, kOpen);
  EXPECT_EQ(nowhere.code, kFailed);
  EXPECT_THAT(nowhere.err, HasSubstr("no/picks.csv: No such file or directory\n"));
}

TEST(PicksTextTest, CellsAreQuotedWhereCsvNeedsIt) {
  Pick pick;
  pick.order.set_order_id("a,b");
  pick.result = Picked();
  pick.result.mutable_assignment()->set_reason("the \"best\"\nof all");
  EXPECT_THAT(PicksText({pick}),
              AllOf(HasSubstr("\n\"a,b\","), HasSubstr(",\"the \"\"best\"\"\nof all\",\r\n")));
}

// ---- assignments ------------------------------------------------------------------------------

TEST_F(AssignTest, AssignmentsAndWhatTheySaved) {
  daemon_.state.page_size = 2;
  daemon_.state.assignments = FromJson<v1::ListAssignmentsResponse>(R"({"assignments":[
    {"shop":"harbour","orderId":"1043","part":2,"assignTime":"2026-10-01T08:30:00Z",
     "supplier":"lotus-works","lane":{"origin":"VN","destination":"DE","service":"express"},
     "mode":"MODE_SHARED","trial":true,"currencyCode":"EUR","expectedSaving":-40,
     "state":"STATE_OPEN"},
    {"shop":"harbour","orderId":"1042","part":1,"assignTime":"2026-09-30T08:30:00Z",
     "supplier":"copper-ferry","lane":{"origin":"TR","destination":"DE","service":""},
     "mode":"MODE_LOWEST_COST","currencyCode":"EUR","expectedSaving":123.4,"state":"STATE_PAID"},
    {"orderId":"7","part":1,"assignTime":"2026-09-29T08:30:00Z","supplier":"amber-gate",
     "lane":{"origin":"PL","destination":"SE","service":""},"mode":"MODE_CHOSEN",
     "state":"STATE_PAID_ELSEWHERE"}],
    "totalCount":"3","trialCount":"1","chosenCount":"1",
    "savings":[{"currencyCode":"EUR","expectedSaving":83.4,"assignmentCount":"2"}]})");
  const Result result =
      Run({"assignments", "--supplier", "a", "--since", "2026-09-01", "--until", "2026-09-30"});
  EXPECT_EQ(result.out,
            "order\n"
            "and supplier                  day         how        saving  state\n"
            "harbour/1043#2                2026-10-01  trial   -0.40 EUR  open\n"
            "  lotus-works, VN-DE/express\n"
            "harbour/1042                  2026-09-30  lowest   1.23 EUR  paid\n"
            "  copper-ferry, TR-DE/-\n"
            "default/7                     2026-09-29  chosen          -  elsewhere\n"
            "  amber-gate, PL-SE/-\n"
            "\n"
            "3 assignments, of them 1 trial and 1 choice of your own.\n"
            "Expected saving against always taking the cheapest quote: 0.83 EUR over 2\n"
            "assignments, choices of your own left out. That is what was expected when each\n"
            "was decided; what the other supplier would really have done is never known.\n");
  const v1::ListAssignmentsRequest& request = daemon_.state.assignments_request;
  EXPECT_EQ(request.supplier(), "a");
  EXPECT_EQ(TimeText(request.from_time()), "2026-09-01");
  EXPECT_EQ(TimeText(request.to_time()), "2026-10-01");  // not included
  const auto json = nlohmann::json::parse(Run({"assignments", "--json"}).out);
  EXPECT_EQ(json["assignments"].size(), 3u);
  EXPECT_EQ(json["nextPageToken"], "");
  EXPECT_FALSE(request.has_from_time() || request.has_to_time());
}

TEST_F(AssignTest, NoAssignmentsAreNoSaving) {
  EXPECT_EQ(Run({"assignments"}).out, "no assignments\n");
}

}  // namespace
}  // namespace plumblane::client
