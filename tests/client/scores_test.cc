// `suppliers`, its options and `supplier` against a fake daemon: scores.h.

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "client/exit_codes.h"
#include "client/fake_daemon.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

using Words = std::vector<std::string>;

class ScoresTest : public testing::Test {
 protected:
  Result Run(const Words& arguments) { return RunProgram(arguments, daemon_.address()); }

  v1::Score& Add(const std::string& id) {
    v1::Score& score = daemon_.state.suppliers.emplace_back();
    score.set_supplier_id(id);
    return score;
  }

  // Of several pages.
  void AddFive() {
    daemon_.state.page_size = 2;
    *Add("agave").mutable_on_time() = RateOf(90, 80, 95, 40);
    Add("birch");  // without orders
    v1::Score& copper = Add("copper");
    *copper.mutable_on_time() = RateOf(95, 90, 98, 12);
    *copper.mutable_defect() = RateOf(3, 1, 6, 12);
    copper.set_underway_count(7);
    v1::Score& dune = Add("dune");
    *dune.mutable_on_time() = RateOf(95, 90, 98, 40);
    *dune.mutable_defect() = RateOf(1, .5, 2, 40);
    dune.set_underway_count(9);
    // An estimate from others alone is no figure of its own.
    *Add("elm").mutable_on_time() = RateOf(99, 10, 100, 0);
  }

  Words NamesBy(const std::string& sort) {
    const auto json = nlohmann::json::parse(Run({"suppliers", "--sort", sort, "--json"}).out);
    Words names;
    for (const auto& score : json["scores"]) names.push_back(score["supplierId"]);
    return names;
  }

  FakeDaemon daemon_;
};

TEST_F(ScoresTest, SortedOverAllPagesAndWithoutFiguresLast) {
  AddFive();
  EXPECT_THAT(NamesBy("name"), ElementsAre("agave", "birch", "copper", "dune", "elm"));
  EXPECT_THAT(NamesBy("on-time"), ElementsAre("copper", "dune", "agave", "birch", "elm"));
  EXPECT_THAT(NamesBy("defect"), ElementsAre("dune", "copper", "agave", "birch", "elm"));
  EXPECT_THAT(NamesBy("orders"), ElementsAre("agave", "dune", "copper", "birch", "elm"));
  EXPECT_THAT(NamesBy("under-way"), ElementsAre("dune", "copper", "agave", "birch", "elm"));
}

TEST_F(ScoresTest, ByWhomOrdersAreUnderWayIsToldInThatOrder) {
  AddFive();
  EXPECT_THAT(Run({"suppliers", "--sort", "under-way"}).out,
              HasSubstr("\nUnder way: 16 orders: dune 9 and copper 7; past the promise: none.\n"));
  EXPECT_THAT(Run({"suppliers"}).out, HasSubstr("\nUnder way: 16 orders; past"));
}

TEST_F(ScoresTest, WhichSuppliersIsAskedOfTheDaemonAndSaid) {
  Add("agave");
  const Result result =
      Run({"suppliers", "--lane", "vn-de/-", "--tag", "toys", "--min-orders", "20"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_THAT(result.out,
              StartsWith("Suppliers on VN-DE/-, tagged toys, with at least 20 settled orders\n\n"));
  v1::ListScoresRequest asked = daemon_.state.list_request;
  asked.clear_page_size();
  EXPECT_EQ(asked.ShortDebugString(),
            "collection: COLLECTION_SUPPLIERS lane { origin: \"VN\" destination: \"DE\" service: "
            "\"\" } tag: \"toys\" min_order_count: 20");
  Run({"suppliers", "--lane", "VN-DE"});
  EXPECT_FALSE(daemon_.state.list_request.lane().has_service());
  Run({"suppliers"});
  EXPECT_FALSE(daemon_.state.list_request.has_lane());
}

TEST_F(ScoresTest, NoneOfThatKindIsNotNoOrders) {
  const Result some = Run({"suppliers", "--tag", "toys", "--min-orders", "1"});
  EXPECT_EQ(some.code, kDone);
  EXPECT_EQ(some.out, "no supplier tagged toys, with at least 1 settled order\n");
  EXPECT_EQ(Run({"suppliers"}).out, "no orders yet; feed some with \"plumblane send\"\n");
}

TEST_F(ScoresTest, RiskIsAskedForSoManyDays) {
  v1::SupplierRisk& one = *daemon_.state.risk.add_suppliers();
  one.set_supplier_id("agave");
  daemon_.state.risk.set_days(30);
  const Result result = Run({"suppliers", "--risk", "--days", "30"});
  EXPECT_EQ(result.code, kDone);
  EXPECT_THAT(result.out, HasSubstr("\nagave "));
  const auto json = nlohmann::json::parse(Run({"suppliers", "--risk", "--json"}).out);
  EXPECT_EQ(json["suppliers"][0]["supplierId"], "agave");
  EXPECT_FALSE(json.contains("orderConcentration"));  // no data is not zero
  ASSERT_EQ(daemon_.state.risk_requests.size(), 2u);
  EXPECT_EQ(daemon_.state.risk_requests[0].ShortDebugString(), "days: 30");
  EXPECT_EQ(daemon_.state.risk_requests[1].ShortDebugString(), "");
}

TEST_F(ScoresTest, OneSupplierComesWithItsRiskAsOfNowOnly) {
  daemon_.state.scores["suppliers/agave"].set_supplier_id("agave");
  v1::SupplierRisk& one = *daemon_.state.risk.add_suppliers();
  one.set_supplier_id("agave");
  one.set_underway_count(1);
  EXPECT_THAT(Run({"supplier", "agave"}).out, HasSubstr("\n  at risk "));
  ASSERT_EQ(daemon_.state.risk_requests.size(), 1u);
  EXPECT_EQ(daemon_.state.risk_requests[0].ShortDebugString(), "supplier: \"agave\"");
  EXPECT_THAT(Run({"supplier", "agave", "--as-of", "2026-07-01"}).out, Not(HasSubstr("at risk")));
  const auto json = nlohmann::json::parse(Run({"supplier", "agave", "--json"}).out);
  EXPECT_EQ(json["supplierId"], "agave");  // the score, and nothing else
  EXPECT_EQ(daemon_.state.risk_requests.size(), 1u);
}

TEST_F(ScoresTest, ScoreOfASupplierStandsWithoutItsRisk) {
  daemon_.state.scores["suppliers/agave"].set_supplier_id("agave");
  daemon_.state.risk.add_suppliers()->set_supplier_id("agave");
  daemon_.state.risk_status = {grpc::StatusCode::INTERNAL, "the store cannot be read"};
  const Result result = Run({"supplier", "agave"});
  EXPECT_EQ(result.code, kFailed);
  EXPECT_THAT(result.out, StartsWith("agave\n  on time "));
  EXPECT_THAT(result.out, Not(HasSubstr("at risk")));
  EXPECT_EQ(result.err, "what is at risk with it is not known: the store cannot be read\n");
}

TEST_F(ScoresTest, LanesAndTheirSuppliersHaveNoRisk) {
  v1::Score& lane = daemon_.state.scores["lanes/VN-DE"];
  lane.mutable_lane()->set_origin("VN");
  lane.mutable_lane()->set_destination("DE");
  EXPECT_EQ(Run({"lane", "VN-DE"}).code, kDone);
  EXPECT_TRUE(daemon_.state.risk_requests.empty());
}

}  // namespace
}  // namespace plumblane::client
