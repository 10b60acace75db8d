// Every call against every role, through the gate of a running server: all of who may do what.
#include "access/permissions.h"

#include <google/protobuf/descriptor.h>

#include <filesystem>
#include <map>
#include <set>

#include "access/guarded.h"

namespace plumblane::test {
namespace {

// What each role may call, written down a second time: s, r, b. An operator may call all.
const std::map<std::string, std::string>& Expected() {
  static const std::map<std::string, std::string> kExpected = {
      {"Agreements/GetCosts", "rb"},
      {"Agreements/ListExchangeRates", "rb"},
      {"Agreements/ListItems", "rb"},
      {"Agreements/ListQuotes", "rb"},
      {"Agreements/ListTerms", "rb"},
      {"Agreements/LoadCosts", ""},
      {"Agreements/LoadExchangeRates", ""},
      {"Agreements/LoadItems", ""},
      {"Agreements/LoadQuotes", ""},
      {"Agreements/LoadTerms", ""},
      {"Agreements/PauseSupplier", "b"},
      {"Agreements/ProposeCosts", "rb"},
      {"Agreements/ResumeSupplier", "b"},
      {"Alerts/AcceptAlert", "b"},
      {"Alerts/AcknowledgeAlert", "b"},
      {"Alerts/GetAlert", "rb"},
      {"Alerts/ListAlerts", "rb"},
      {"Alerts/ListDeliveries", "rb"},
      {"Alerts/ListWatches", "rb"},
      {"Alerts/ShelveAlert", "b"},
      {"Alerts/WatchAlerts", "rb"},
      {"Exports/ExportAssignments", "rb"},
      {"Exports/ExportCohorts", "rb"},
      {"Exports/ExportEvents", "rb"},
      {"Exports/ExportScores", "rb"},
      {"Exports/WatchScores", "rb"},
      {"Intake/BeginSend", "s"},
      {"Intake/FinishSend", "s"},
      {"Intake/IngestEvents", "s"},
      {"Intake/ListSends", "srb"},
      {"Intake/ReportNews", "s"},
      {"Intake/UndoSend", ""},
      {"Operations/Backup", ""},
      {"Operations/EraseOrders", ""},
      {"Operations/EraseSupplier", ""},
      {"Operations/GetStatus", "srb"},
      {"Operations/Verify", ""},
      {"Orders/CreateExcuse", ""},
      {"Orders/GetOrder", "rb"},
      {"Orders/ListClaims", "rb"},
      {"Orders/ListExcuses", "rb"},
      {"Orders/ListUnderway", "rb"},
      {"Orders/LookUpOrders", "srb"},
      {"Orders/WithdrawExcuse", ""},
      {"Reviews/GetReview", "rb"},
      {"Reviews/ListEvidence", "rb"},
      {"Scores/Backtest", "rb"},
      {"Scores/GetScore", "rb"},
      {"Scores/ListScores", "rb"},
      {"Sourcing/AssignOrders", "b"},
      {"Sourcing/GetRisk", "rb"},
      {"Sourcing/ListAssignments", "rb"},
      {"Sourcing/RankSuppliers", "rb"},
  };
  return kExpected;
}

// All calls that the protos define, "Scores/GetScore".
std::set<std::string> AllCalls() {
  std::set<std::string> calls;
  for (const auto& file : std::filesystem::directory_iterator(PLUMBLANE_API)) {
    const std::string name = "plumblane/v1/" + file.path().filename().string();
    const auto* proto = google::protobuf::DescriptorPool::generated_pool()->FindFileByName(name);
    EXPECT_NE(proto, nullptr) << name << " is not linked in: does the table know its calls?";
    for (int i = 0; proto != nullptr && i < proto->service_count(); ++i) {
      const auto* service = proto->service(i);
      for (int j = 0; j < service->method_count(); ++j) {
        calls.insert(std::string(service->name()) + "/" + service->method(j)->name());
      }
    }
  }
  return calls;
}

std::string MethodOf(const std::string& call) { return "/plumblane.v1." + call; }

TEST(PermissionsTest, EveryCallStandsInTheTableAndNothingElse) {
  const std::set<std::string> calls = AllCalls();
  EXPECT_GT(calls.size(), 40u);
  for (const std::string& call : calls) {
    EXPECT_NE(PermissionFor(MethodOf(call)), nullptr) << call << " is for nobody";
    EXPECT_TRUE(Expected().contains(call)) << call << " is not in this test's table";
  }
  EXPECT_EQ(calls.size(), Expected().size());
}

TEST(PermissionsTest, ACallThatStandsInNoTableIsForNobody) {
  Principal all;
  all.roles = kAllRoles;
  EXPECT_EQ(PermissionFor("/plumblane.v1.Scores/SetScore"), nullptr);
  EXPECT_TRUE(absl::IsPermissionDenied(MayCall(all, nullptr, nullptr)));
}

bool IsLetIn(const grpc::Status& status) {
  return status.ok() || status.error_code() == grpc::UNIMPLEMENTED;
}

TEST(PermissionsTest, EachRoleMayCallWhatItMayAndNothingElse) {
  Guarded server(
      Book(TokenNamed("s", "roles = [\"sender\"]") + TokenNamed("r", "roles = [\"reader\"]") +
           TokenNamed("b", "roles = [\"buyer\"]") + TokenNamed("o", "roles = [\"operator\"]") +
           TokenNamed("sr", "roles = [\"sender\", \"reader\"]")));
  int let_in = 0, refused = 0;
  for (const auto& [call, roles] : Expected()) {
    const std::string method = MethodOf(call);
    for (const std::string who : {"s", "r", "b", "o", "sr"}) {
      const bool may = who == "o" || roles.find_first_of(who) != std::string::npos;
      const grpc::Status status = server.Call(method, who.c_str());
      EXPECT_EQ(IsLetIn(status), may) << call << " by " << who << ": " << status.error_message();
      if (!may) {
        EXPECT_EQ(status.error_code(), grpc::PERMISSION_DENIED) << call << " by " << who;
      }
      ++(may ? let_in : refused);
    }
    EXPECT_EQ(server.Call(method, nullptr).error_code(), grpc::UNAUTHENTICATED) << call;
    EXPECT_EQ(server.Call(method, "unknown").error_code(), grpc::UNAUTHENTICATED) << call;
    EXPECT_EQ(server.Call(method, "").error_code(), grpc::UNAUTHENTICATED) << call;
  }
  EXPECT_GT(let_in, 100);
  EXPECT_GT(refused, 50);
}

v1::GetReviewRequest Review(const std::string& supplier, bool to_share) {
  v1::GetReviewRequest request;
  request.set_supplier(supplier);
  request.set_to_share(to_share);
  return request;
}
template <typename Request>
Request Of(const std::string& supplier) {
  Request request;
  request.set_supplier(supplier);
  return request;
}
v1::GetScoreRequest Score(const std::string& name) {
  v1::GetScoreRequest request;
  request.set_name(name);
  return request;
}

TEST(PermissionsTest, ATokenBoundToSuppliersSeesTheseAlone) {
  Guarded server(
      Book(TokenNamed("lotus", "roles = [\"reader\"]\nsuppliers = [\"lotus\", \"lotus-2\"]")));
  const auto code = [&](const std::string& call, const google::protobuf::Message& request) {
    return server.Call(MethodOf(call), "lotus", &request).error_code();
  };
  const auto in = ::testing::AnyOf(grpc::OK, grpc::UNIMPLEMENTED);
  EXPECT_THAT(code("Scores/GetScore", Score("suppliers/lotus")), in);
  EXPECT_THAT(code("Scores/GetScore", Score("suppliers/lotus-2/lanes/VN-DE")), in);
  EXPECT_THAT(code("Orders/ListUnderway", Of<v1::ListUnderwayRequest>("lotus")), in);
  EXPECT_THAT(code("Orders/ListClaims", Of<v1::ListClaimsRequest>("lotus")), in);
  EXPECT_THAT(code("Agreements/ListQuotes", Of<v1::ListQuotesRequest>("lotus-2")), in);
  EXPECT_THAT(code("Reviews/GetReview", Review("lotus", true)), in);
  EXPECT_THAT(code("Reviews/ListEvidence", Review("lotus", true)), in);
  for (const std::string other : {"", "other", "lotus-22", "Lotus"}) {
    EXPECT_EQ(code("Scores/GetScore", Score("suppliers/" + other)), grpc::PERMISSION_DENIED);
    EXPECT_EQ(code("Orders/ListUnderway", Of<v1::ListUnderwayRequest>(other)),
              grpc::PERMISSION_DENIED);
    EXPECT_EQ(code("Orders/ListClaims", Of<v1::ListClaimsRequest>(other)), grpc::PERMISSION_DENIED);
    EXPECT_EQ(code("Agreements/ListQuotes", Of<v1::ListQuotesRequest>(other)),
              grpc::PERMISSION_DENIED);
    EXPECT_EQ(code("Reviews/GetReview", Review(other, true)), grpc::PERMISSION_DENIED);
  }
  EXPECT_EQ(code("Reviews/GetReview", Review("lotus", false)), grpc::PERMISSION_DENIED);
  EXPECT_EQ(code("Scores/GetScore", Score("lanes/VN-DE")), grpc::PERMISSION_DENIED);
  // What cannot be narrowed is not for it, also when it names its supplier.
  const std::set<std::string> narrowed = {"Scores/GetScore",   "Orders/ListUnderway",
                                          "Orders/ListClaims", "Agreements/ListQuotes",
                                          "Reviews/GetReview", "Reviews/ListEvidence"};
  for (const auto& [call, roles] : Expected()) {
    if (narrowed.contains(call)) continue;
    EXPECT_EQ(server.Call(MethodOf(call), "lotus").error_code(), grpc::PERMISSION_DENIED) << call;
  }
  EXPECT_EQ(code("Sourcing/GetRisk", Of<v1::GetRiskRequest>("lotus")), grpc::PERMISSION_DENIED);
}

TEST(PermissionsTest, ATokenBoundToSourcesSpeaksForTheseAlone) {
  Guarded server(Book(TokenNamed("feed", "roles = [\"sender\"]\nsources = [\"carrier\"]") +
                      TokenNamed("any", "roles = [\"sender\"]") +
                      TokenNamed("default", "roles = [\"sender\"]\nsources = [\"default\"]")));
  v1::ReportNewsRequest news;
  const auto code = [&](const char* token, const std::string& source) {
    news.set_source(source);
    return server.Call(MethodOf("Intake/ReportNews"), token, &news).error_code();
  };
  EXPECT_EQ(code("feed", "carrier"), grpc::UNIMPLEMENTED);
  EXPECT_EQ(code("feed", "shop"), grpc::PERMISSION_DENIED);
  EXPECT_EQ(code("feed", ""), grpc::PERMISSION_DENIED);
  EXPECT_EQ(code("any", "shop"), grpc::UNIMPLEMENTED);
  EXPECT_EQ(code("default", ""), grpc::UNIMPLEMENTED);
}

}  // namespace
}  // namespace plumblane::test
