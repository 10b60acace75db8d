// A daemon that keeps nothing: it writes down what it is sent and answers what a test lays out.
//
// It listens on a socket in a folder of its own under the system's temporary folder; both go with
// it.
#pragma once

#include <google/protobuf/repeated_field.h>
#include <grpcpp/server.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "plumblane/v1/agreements.grpc.pb.h"
#include "plumblane/v1/alerts.grpc.pb.h"
#include "plumblane/v1/intake.grpc.pb.h"
#include "plumblane/v1/operations.grpc.pb.h"
#include "plumblane/v1/orders.grpc.pb.h"
#include "plumblane/v1/scores.grpc.pb.h"
#include "plumblane/v1/sourcing.grpc.pb.h"

namespace plumblane::client {

// What a test lays out, before the first call, and finds after the last one.
struct FakeState {
  // Fills the receipt of a batch; every event is accepted when this is empty.
  std::function<void(const v1::EventBatch&, v1::BatchReceipt*)> receive;
  int hold_until = 0;           // no receipt before that many batches wait for one
  int break_after = -1;         // batches; then the stream ends with UNAVAILABLE
  bool is_mute = false;         // gives no receipts at all
  int64_t send_number = 0;      // of the send that begins
  v1::ListSendsResponse sends;  // paged
  v1::UndoSendResponse undo_effect, undone;
  grpc::Status undo_status;

  std::map<std::string, v1::LookUpOrdersResponse::Answer> by_tracking;  // known orders
  std::map<std::string, std::string> destinations;                      // by "shop/order"
  std::map<std::string, v1::Score> scores;                              // GetScore, by name
  std::vector<v1::Score> suppliers, lanes;                              // ListScores
  int page_size = 1000;
  std::vector<v1::Order> orders;
  std::vector<v1::Excuse> excuses;
  v1::RankSuppliersResponse ranking;
  v1::Risk risk;  // GetRisk; only the supplier asked for, if one is
  // What every load answers; with errors it loads nothing.
  v1::LoadResponse load;
  std::vector<v1::QuoteStatus> quotes;  // ListQuotes, paged
  std::vector<v1::TermsStatus> terms;
  v1::ListExchangeRatesResponse rates;
  v1::ListItemsResponse items;
  v1::CostSettings costs;  // without classes: none were loaded
  v1::ProposeCostsResponse proposal;
  // Fills the result of each order; it goes to "lotus-works" when this is empty.
  std::function<void(const v1::OrderToAssign&, v1::AssignOrderResult*)> assign;
  int assign_breaks_after = -1;             // requests; then UNAVAILABLE
  v1::ListAssignmentsResponse assignments;  // paged
  v1::ListUnderwayResponse underway;        // paged
  v1::ListClaimsResponse claims;            // paged
  v1::ListAlertsResponse alerts;            // paged; a decision on "unknown" is NOT_FOUND
  v1::ListWatchesResponse watches;
  v1::ListDeliveriesResponse deliveries;
  std::vector<v1::AlertNotice> notices;  // of WatchAlerts, which ends after them ...
  grpc::Status risk_status;              // of GetRisk
  grpc::Status watch_end;                // ... like this
  v1::BacktestResponse backtest;         // without forecasters: too little history
  v1::ServerStatus status;
  std::vector<v1::VerifyUpdate> verify_updates;
  v1::BackupResponse backup;
  grpc::Status verify_status, backup_status;

  std::mutex mutex;   // guards what follows
  std::string owner;  // "" = it follows nobody
  std::vector<v1::Event> events;
  std::vector<v1::ReportNewsRequest> news;
  std::vector<v1::BeginSendRequest> sends_begun;
  std::vector<v1::FinishSendRequest> sends_finished;
  std::vector<v1::UndoSendRequest> undos;
  std::vector<v1::BackupRequest> backups;
  std::vector<v1::LookUpOrdersRequest> look_ups;
  v1::GetScoreRequest score_request;
  v1::ListScoresRequest list_request;
  v1::RankSuppliersRequest rank_request;
  std::vector<v1::GetRiskRequest> risk_requests;
  v1::BacktestRequest backtest_request;
  v1::LoadQuotesRequest quotes_load;
  v1::LoadTermsRequest terms_load;
  v1::LoadExchangeRatesRequest rates_load;
  v1::LoadItemsRequest items_load;
  v1::LoadCostsRequest costs_load;
  v1::ListQuotesRequest quotes_request;
  v1::PauseSupplierRequest pause_request;
  v1::ListAssignmentsRequest assignments_request;
  std::vector<v1::AssignOrdersRequest> assign_requests;
  v1::ListUnderwayRequest underway_request;
  v1::ListClaimsRequest claims_request;
  v1::ListAlertsRequest alerts_request;
  v1::AcknowledgeAlertRequest acknowledge_request;
  v1::ShelveAlertRequest shelve_request;
  v1::AcceptAlertRequest accept_request;
  int loads = 0;
  int batches = 0, history_batches = 0;
  int most_unanswered = 0;
};

// The services of fake_alerts.cc and fake_sourcing.cc.
std::unique_ptr<v1::Alerts::Service> MakeFakeAlerts(FakeState* state);
std::unique_ptr<v1::Sourcing::Service> MakeFakeSourcing(FakeState* state);
std::unique_ptr<v1::Agreements::Service> MakeFakeAgreements(FakeState* state);

// The next page of `all`, and how to go on.
template <typename All, typename Request, typename Item, typename Answer>
void Page(const All& all, int page_size, const Request& request,
          google::protobuf::RepeatedPtrField<Item>* items, Answer* answer) {
  const int first = request.page_token().empty() ? 0 : std::stoi(request.page_token());
  const int size = static_cast<int>(all.size()), end = std::min(size, first + page_size);
  items->Assign(all.begin() + first, all.begin() + end);
  if (end < size) answer->set_next_page_token(std::to_string(end));
}

class FakeDaemon {
 public:
  FakeDaemon();
  ~FakeDaemon();

  FakeState state;
  const std::string& address() const { return address_; }
  void Stop() { server_->Shutdown(std::chrono::system_clock::now()); }

 private:
  class Services;

  std::string folder_, address_;
  std::unique_ptr<Services> services_;
  std::unique_ptr<grpc::Server> server_;
};

}  // namespace plumblane::client
