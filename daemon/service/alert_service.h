// Alerts: lists, what users say of them, and notices as they come.
//
// Lists answer from what was told, so that everybody reads the same; evidence is counted from the
// cells as of now. What users say is taken one after the other, and logged.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/alerts.grpc.pb.h>

#include <condition_variable>
#include <mutex>
#include <set>
#include <thread>

#include "delivery/deliverer.h"
#include "engine/desk.h"
#include "service/in_turn.h"
#include "service/one_at_a_time.h"

namespace plumblane {

class AlertStream;

class AlertsService final : public v1::Alerts::CallbackService {
 public:
  // Both must outlive the service and all its streams.
  AlertsService(Desk& engine, const Deliverer& deliverer);
  ~AlertsService() override;

  using Context = grpc::CallbackServerContext;
  using Reactor = grpc::ServerUnaryReactor;
  Reactor* ListAlerts(Context*, const v1::ListAlertsRequest*, v1::ListAlertsResponse*) override;
  Reactor* GetAlert(Context*, const v1::GetAlertRequest*, v1::Alert*) override;
  Reactor* AcknowledgeAlert(Context*, const v1::AcknowledgeAlertRequest*, v1::Alert*) override;
  Reactor* ShelveAlert(Context*, const v1::ShelveAlertRequest*, v1::Alert*) override;
  Reactor* AcceptAlert(Context*, const v1::AcceptAlertRequest*, v1::Alert*) override;
  grpc::ServerWriteReactor<v1::AlertNotice>* WatchAlerts(Context*,
                                                         const v1::WatchAlertsRequest*) override;
  Reactor* ListWatches(Context*, const v1::ListWatchesRequest*, v1::ListWatchesResponse*) override;
  Reactor* ListDeliveries(Context*, const v1::ListDeliveriesRequest*,
                          v1::ListDeliveriesResponse*) override;

  // Open streams end with UNAVAILABLE, and so do new ones.
  void Drain();

 private:
  friend class AlertStream;
  template <typename Request, typename Plan>
  Reactor* Say(Context* context, const Request* request, v1::Alert* response, const Plan& plan);
  void Forget(AlertStream* stream);
  void Poll();

  Desk& engine_;
  const Deliverer& deliverer_;
  InTurn saying_;
  OneAtATime listing_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool draining_ = false, closing_ = false;  // guarded by mutex_
  std::set<AlertStream*> streams_;           // guarded by mutex_
  std::thread poller_;                       // looks for new notices while there are streams
};

absl::Status ListAlerts(const View& view, const v1::ListAlertsRequest& request,
                        v1::ListAlertsResponse* response);
absl::Status GetAlert(const View& view, const std::string& alert_id, v1::Alert* response);

// What to log; none when that is so already. Errors: INVALID_ARGUMENT; NOT_FOUND;
// FAILED_PRECONDITION when the alert is no longer open, or has no chart to be designed anew.
absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::AcknowledgeAlertRequest& request);
absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::ShelveAlertRequest& request);
absl::StatusOr<std::optional<AlertNotice>> NoticeOf(const View& view,
                                                    const v1::AcceptAlertRequest& request);

// The cursor to go on after. Error OUT_OF_RANGE: there is no such notice.
absl::StatusOr<int64_t> CursorToWatch(const View& view, const v1::WatchAlertsRequest& request);

void ListWatches(const View& view, v1::ListWatchesResponse* response);

}  // namespace plumblane
