#include "access/permissions.h"

#include <absl/strings/str_cat.h>
#include <plumblane/v1/agreements.pb.h>
#include <plumblane/v1/alerts.pb.h>
#include <plumblane/v1/exports.pb.h>
#include <plumblane/v1/intake.pb.h>
#include <plumblane/v1/operations.pb.h>
#include <plumblane/v1/orders.pb.h>
#include <plumblane/v1/reviews.pb.h>
#include <plumblane/v1/scores.pb.h>
#include <plumblane/v1/sourcing.pb.h>

#include <map>
#include <string>

#include "base/ids.h"

namespace plumblane {
namespace {

constexpr Roles kSenders = static_cast<Roles>(Role::kSender);
constexpr Roles kReaders = Role::kReader | Role::kBuyer;
constexpr Roles kBuyers = static_cast<Roles>(Role::kBuyer);
constexpr Roles kOperators = static_cast<Roles>(Role::kOperator);
// What a sender needs to make events whole, and to see how it does.
constexpr Roles kSendersAndReaders = kSenders | kReaders;

template <typename Request>
const google::protobuf::Message& MessageOf(const void* request) {
  return *static_cast<const Request*>(request);
}

template <typename Request>
std::string_view SupplierOf(const void* request) {
  return static_cast<const Request*>(request)->supplier();
}

// Only the copy to share tells nothing of others.
std::string_view SupplierOfReview(const void* request) {
  const auto* review = static_cast<const v1::GetReviewRequest*>(request);
  return review->to_share() ? std::string_view(review->supplier()) : "";
}

// "suppliers/ID", also on a lane.
std::string_view SupplierOfScore(const void* request) {
  std::string_view name = static_cast<const v1::GetScoreRequest*>(request)->name();
  constexpr std::string_view kSuppliers = "suppliers/";
  if (!name.starts_with(kSuppliers)) return "";
  name.remove_prefix(kSuppliers.size());
  return name.substr(0, name.find('/'));
}

std::string_view SourceOfNews(const void* request) {
  const std::string& source = static_cast<const v1::ReportNewsRequest*>(request)->source();
  return source.empty() ? kDefaultSource : std::string_view(source);
}

template <typename Request>
Permission Asks(Roles roles = kReaders, std::string_view (*supplier)(const void*) = nullptr) {
  return {roles, false, MessageOf<Request>, supplier, nullptr};
}

template <typename Request>
Permission Does(Roles roles) {
  return {roles, true, MessageOf<Request>, nullptr, nullptr};
}

template <typename Request>
Permission Erases() {
  Permission erases = Does<Request>(kOperators);
  erases.hides_request = true;
  return erases;
}

std::map<std::string, Permission, std::less<>> MakeTable() {
  using namespace v1;  // NOLINT: the table names most of it
  const std::map<std::string, std::map<std::string, Permission>> by_service = {
      {"Intake",
       {{"IngestEvents", {kSenders, false, nullptr, nullptr, nullptr}},
        {"ReportNews", {kSenders, false, MessageOf<ReportNewsRequest>, nullptr, SourceOfNews}},
        {"BeginSend", Asks<BeginSendRequest>(kSenders)},
        {"FinishSend", Asks<FinishSendRequest>(kSenders)},
        {"ListSends", Asks<ListSendsRequest>(kSendersAndReaders)},
        {"UndoSend", Does<UndoSendRequest>(kOperators)}}},
      {"Scores",
       {{"GetScore", Asks<GetScoreRequest>(kReaders, SupplierOfScore)},
        {"ListScores", Asks<ListScoresRequest>()},
        {"Backtest", Asks<BacktestRequest>()}}},
      {"Sourcing",
       {{"RankSuppliers", Asks<RankSuppliersRequest>()},
        {"AssignOrders", Does<AssignOrdersRequest>(kBuyers)},
        {"GetRisk", Asks<GetRiskRequest>()},
        {"ListAssignments", Asks<ListAssignmentsRequest>()}}},
      {"Orders",
       {{"GetOrder", Asks<GetOrderRequest>()},
        {"LookUpOrders", Asks<LookUpOrdersRequest>(kSendersAndReaders)},
        {"ListUnderway", Asks<ListUnderwayRequest>(kReaders, SupplierOf<ListUnderwayRequest>)},
        {"ListClaims", Asks<ListClaimsRequest>(kReaders, SupplierOf<ListClaimsRequest>)},
        {"CreateExcuse", Does<CreateExcuseRequest>(kOperators)},
        {"ListExcuses", Asks<ListExcusesRequest>()},
        {"WithdrawExcuse", Does<WithdrawExcuseRequest>(kOperators)}}},
      {"Agreements",
       {{"LoadQuotes", Does<LoadQuotesRequest>(kOperators)},
        {"ListQuotes", Asks<ListQuotesRequest>(kReaders, SupplierOf<ListQuotesRequest>)},
        {"LoadTerms", Does<LoadTermsRequest>(kOperators)},
        {"ListTerms", Asks<ListTermsRequest>()},
        {"PauseSupplier", Does<PauseSupplierRequest>(kBuyers)},
        {"ResumeSupplier", Does<ResumeSupplierRequest>(kBuyers)},
        {"LoadExchangeRates", Does<LoadExchangeRatesRequest>(kOperators)},
        {"ListExchangeRates", Asks<ListExchangeRatesRequest>()},
        {"LoadItems", Does<LoadItemsRequest>(kOperators)},
        {"ListItems", Asks<ListItemsRequest>()},
        {"LoadCosts", Does<LoadCostsRequest>(kOperators)},
        {"GetCosts", Asks<GetCostsRequest>()},
        {"ProposeCosts", Asks<ProposeCostsRequest>()}}},
      {"Alerts",
       {{"ListAlerts", Asks<ListAlertsRequest>()},
        {"GetAlert", Asks<GetAlertRequest>()},
        {"AcknowledgeAlert", Does<AcknowledgeAlertRequest>(kBuyers)},
        {"ShelveAlert", Does<ShelveAlertRequest>(kBuyers)},
        {"AcceptAlert", Does<AcceptAlertRequest>(kBuyers)},
        {"WatchAlerts", Asks<WatchAlertsRequest>()},
        {"ListWatches", Asks<ListWatchesRequest>()},
        {"ListDeliveries", Asks<ListDeliveriesRequest>()}}},
      {"Reviews",
       {{"GetReview", Asks<GetReviewRequest>(kReaders, SupplierOfReview)},
        {"ListEvidence", Asks<GetReviewRequest>(kReaders, SupplierOfReview)}}},
      {"Exports",
       {{"ExportScores", Asks<ExportScoresRequest>()},
        {"ExportCohorts", Asks<ExportCohortsRequest>()},
        {"ExportEvents", Asks<ExportEventsRequest>()},
        {"ExportAssignments", Asks<ExportAssignmentsRequest>()},
        {"WatchScores", Asks<WatchScoresRequest>()}}},
      {"Operations",
       {{"GetStatus", Asks<GetStatusRequest>(kSendersAndReaders)},
        {"Verify", Does<VerifyRequest>(kOperators)},
        {"Backup", Does<BackupRequest>(kOperators)},
        {"EraseOrders", Erases<EraseOrdersRequest>()},
        {"EraseSupplier", Erases<EraseSupplierRequest>()}}},
  };
  std::map<std::string, Permission, std::less<>> table;
  for (const auto& [service, methods] : by_service) {
    for (const auto& [method, permission] : methods) {
      table.emplace(absl::StrCat("/plumblane.v1.", service, "/", method), permission);
    }
  }
  // Noted down; their requests hold nothing of it.
  for (const char* reads : {"ReadCopy", "ReadPartition"}) {
    table.emplace(absl::StrCat("/plumblane.peer.v1.Peers/", reads),
                  Permission{kOperators, true, nullptr, nullptr, nullptr, true});
  }
  // Among daemons: many a second, and what is in it was noted down where it came in.
  table.emplace("/plumblane.peer.v1.Peers/TakeParts",
                Permission{kOperators, false, nullptr, nullptr, nullptr});
  return table;
}

std::string Words(Roles roles) {
  std::string words;
  const auto add = [&](Role role, const char* word) {
    if ((roles & static_cast<Roles>(role)) == 0) return;
    absl::StrAppend(&words, words.empty() ? "" : " or ", word);
  };
  add(Role::kSender, "sender");
  add(Role::kReader, "reader");
  add(Role::kBuyer, "buyer");
  add(Role::kOperator, "operator");
  return words;
}

}  // namespace

const Permission* PermissionFor(std::string_view method) {
  static const auto* const kTable = new std::map<std::string, Permission, std::less<>>(MakeTable());
  const auto it = kTable->find(method);
  return it == kTable->end() ? nullptr : &it->second;
}

absl::Status MayCall(const Principal& principal, const Permission* permission,
                     const void* request) {
  if (permission == nullptr) return absl::PermissionDeniedError("nobody may call this");
  const Roles enough = permission->roles | Role::kOperator;
  if ((principal.roles & enough) == 0) {
    return absl::PermissionDeniedError(
        absl::StrCat("this needs the role ", Words(permission->roles | Role::kOperator),
                     "; the token \"", principal.name, "\" has ", Words(principal.roles)));
  }
  if (!principal.suppliers.empty()) {
    const std::string_view supplier =
        permission->supplier == nullptr || request == nullptr ? "" : permission->supplier(request);
    if (!principal.suppliers.contains(std::string(supplier))) {
      return absl::PermissionDeniedError(
          absl::StrCat("the token \"", principal.name, "\" is bound to suppliers of its own",
                       permission->supplier == nullptr
                           ? ": this tells of others too"
                           : ": name one of them (and of a review ask for the copy to share)"));
    }
  }
  if (!principal.sources.empty() && permission->source != nullptr && request != nullptr &&
      !principal.sources.contains(std::string(permission->source(request)))) {
    return absl::PermissionDeniedError(
        absl::StrCat("the token \"", principal.name, "\" is bound to sources of its own"));
  }
  return absl::OkStatus();
}

}  // namespace plumblane
