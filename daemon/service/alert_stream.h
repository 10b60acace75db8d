// One reader of notices. Private to service/.
#pragma once

#include <plumblane/v1/alerts.pb.h>

#include "engine/notice_reader.h"
#include "service/alert_service.h"
#include "service/watch_stream.h"

namespace plumblane {

// Besides the notice on its way it costs the state of alerts that it has come to.
class AlertStream final : public WatchStream<v1::AlertNotice> {
 public:
  AlertStream(AlertsService& service, const v1::WatchAlertsRequest& request);

  void OnDone() override;

 private:
  absl::StatusOr<bool> Make(v1::AlertNotice& notice) override;

  AlertsService& service_;
  NoticeReader reader_;  // guarded by mutex()
};

}  // namespace plumblane
