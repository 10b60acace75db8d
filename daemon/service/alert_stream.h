// One reader of notices. Private to service/.
#pragma once

#include <plumblane/v1/alerts.pb.h>

#include <mutex>

#include "engine/notice_reader.h"
#include "service/alert_service.h"

namespace plumblane {

// Lives from its call until OnDone. At most one notice is on its way at a time, so a slow reader
// holds up nobody, and costs no memory but the state of alerts that it has come to.
class AlertStream final : public grpc::ServerWriteReactor<v1::AlertNotice> {
 public:
  AlertStream(AlertsService& service, const v1::WatchAlertsRequest& request);

  // Sends the next notice when there is one and none is on its way.
  void Next();
  void End(grpc::Status status);

  void OnWriteDone(bool ok) override;
  void OnCancel() override { End({grpc::CANCELLED, "cancelled"}); }
  void OnDone() override;

 private:
  void Leave(std::unique_lock<std::mutex>& lock);

  AlertsService& service_;
  std::mutex mutex_;
  // Guarded by mutex_.
  NoticeReader reader_;
  v1::AlertNotice notice_;
  bool writing_ = false, ending_ = false, finished_ = false;
  grpc::Status status_;
};

}  // namespace plumblane
