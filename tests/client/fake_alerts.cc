// The part of fake_daemon.h that watches and keeps alerts.

#include "client/fake_daemon.h"

namespace plumblane::client {
namespace {

class FakeAlerts : public v1::Alerts::Service {
 public:
  explicit FakeAlerts(FakeState* state) : state_(*state) {}

  grpc::Status ListAlerts(grpc::ServerContext*, const v1::ListAlertsRequest* request,
                          v1::ListAlertsResponse* answer) override {
    const std::lock_guard lock(state_.mutex);
    state_.alerts_request = *request;
    *answer = state_.alerts;
    Page(state_.alerts.alerts(), state_.page_size, *request, answer->mutable_alerts(), answer);
    return grpc::Status::OK;
  }

  grpc::Status AcknowledgeAlert(grpc::ServerContext*, const v1::AcknowledgeAlertRequest* request,
                                v1::Alert* answer) override {
    return Decide(*request, v1::Alert::STATE_ACKNOWLEDGED, state_.acknowledge_request, answer);
  }
  grpc::Status ShelveAlert(grpc::ServerContext*, const v1::ShelveAlertRequest* request,
                           v1::Alert* answer) override {
    answer->set_shelved_until_date(request->until_date());
    return Decide(*request, v1::Alert::STATE_SHELVED, state_.shelve_request, answer);
  }
  grpc::Status AcceptAlert(grpc::ServerContext*, const v1::AcceptAlertRequest* request,
                           v1::Alert* answer) override {
    return Decide(*request, v1::Alert::STATE_ACCEPTED, state_.accept_request, answer);
  }

  // Those after the cursor.
  grpc::Status WatchAlerts(grpc::ServerContext*, const v1::WatchAlertsRequest* request,
                           grpc::ServerWriter<v1::AlertNotice>* writer) override {
    for (const v1::AlertNotice& notice : state_.notices) {
      if (notice.cursor() > request->after_cursor()) writer->Write(notice);
    }
    return state_.watch_end;
  }

  grpc::Status ListWatches(grpc::ServerContext*, const v1::ListWatchesRequest*,
                           v1::ListWatchesResponse* answer) override {
    *answer = state_.watches;
    return grpc::Status::OK;
  }

  grpc::Status ListDeliveries(grpc::ServerContext*, const v1::ListDeliveriesRequest*,
                              v1::ListDeliveriesResponse* answer) override {
    *answer = state_.deliveries;
    return grpc::Status::OK;
  }

 private:
  template <typename Request>
  grpc::Status Decide(const Request& request, v1::Alert::State decided, Request& seen,
                      v1::Alert* answer) {
    const std::lock_guard lock(state_.mutex);
    seen = request;
    if (request.alert_id() == "unknown") return {grpc::StatusCode::NOT_FOUND, "there is none"};
    answer->set_alert_id(request.alert_id());
    answer->set_note(request.note());
    answer->set_state(decided);
    return grpc::Status::OK;
  }

  FakeState& state_;
};

}  // namespace

std::unique_ptr<v1::Alerts::Service> MakeFakeAlerts(FakeState* state) {
  return std::make_unique<FakeAlerts>(state);
}

}  // namespace plumblane::client
