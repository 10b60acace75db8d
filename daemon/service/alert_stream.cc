#include "service/alert_stream.h"

#include <utility>

#include "engine/records.h"
#include "service/status.h"
#include "service/write_alert.h"

namespace plumblane {

AlertStream::AlertStream(AlertsService& service, const v1::WatchAlertsRequest& request)
    : service_(service) {
  const View view = service_.engine_.Look();
  const auto cursor = CursorToWatch(view, request);
  const absl::Status status = cursor.ok() ? CatchUp(view, *cursor) : cursor.status();
  if (!status.ok()) End(ToGrpc(status));
}

absl::Status AlertStream::CatchUp(const View& view, int64_t cursor) {
  const AlertsTold& latest = *view.catalog().alerts;
  if (cursor == latest.last_cursor) {
    told_ = latest;
    return absl::OkStatus();
  }
  return EachAlertNotice(view.snapshot(), told_.last_cursor,
                         [&](int64_t at, const AlertNotice& notice) {
                           if (at > cursor) return false;
                           told_.Take(notice);
                           return true;
                         });
}

void AlertStream::Next() {
  std::unique_lock lock(mutex_);
  if (writing_ || ending_) return;
  const View view = service_.engine_.Look();
  if (view.catalog().alerts->last_cursor <= told_.last_cursor) return;
  const absl::Status read = EachAlertNotice(
      view.snapshot(), told_.last_cursor, [&](int64_t cursor, const AlertNotice& notice) {
        told_.Take(notice);
        notice_.Clear();
        WriteNotice(cursor, notice, told_.by_id.at(notice.alert_id), &notice_);
        return false;
      });
  if (!read.ok()) {
    ending_ = true;
    status_ = ToGrpc(read);
    return Leave(lock);
  }
  writing_ = true;
  StartWrite(&notice_);
}

void AlertStream::End(grpc::Status status) {
  std::unique_lock lock(mutex_);
  if (ending_) return;
  ending_ = true;
  status_ = std::move(status);
  Leave(lock);
}

// Finishes once nothing is on its way; then it may be gone, so nothing is touched after.
void AlertStream::Leave(std::unique_lock<std::mutex>& lock) {
  if (!ending_ || writing_ || finished_) return;
  finished_ = true;
  const grpc::Status status = status_;
  lock.unlock();
  Finish(status);
}

void AlertStream::OnWriteDone(bool ok) {
  std::unique_lock lock(mutex_);
  writing_ = false;
  if (!ok && !ending_) {
    ending_ = true;
    status_ = {grpc::CANCELLED, "the reader has gone"};
  }
  if (ending_) return Leave(lock);
  lock.unlock();
  Next();
}

void AlertStream::OnDone() {
  service_.Forget(this);
  delete this;
}

}  // namespace plumblane
