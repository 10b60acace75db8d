#include "service/alert_stream.h"

#include "service/status.h"
#include "service/write_alert.h"

namespace plumblane {

AlertStream::AlertStream(AlertsService& service, const v1::WatchAlertsRequest& request)
    : service_(service) {
  const View view = service_.engine_.Look();
  const auto cursor = CursorToWatch(view, request);
  const absl::Status status = cursor.ok() ? reader_.GoTo(view, *cursor) : cursor.status();
  if (!status.ok()) End(ToGrpc(status));
}

absl::StatusOr<bool> AlertStream::Make(v1::AlertNotice& notice) {
  const View view = service_.engine_.Look();
  const auto next = reader_.Next(view);
  if (!next.ok()) return next.status();
  if (!*next) return false;
  WriteNotice((*next)->cursor, (*next)->notice, *(*next)->after, &notice);
  return true;
}

void AlertStream::OnDone() {
  service_.Forget(this);
  delete this;
}

}  // namespace plumblane
