#include "service/alert_stream.h"

#include <utility>

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

void AlertStream::Next() {
  std::unique_lock lock(mutex_);
  if (writing_ || ending_) return;
  const View view = service_.engine_.Look();
  const auto next = reader_.Next(view);
  if (!next.ok()) {
    ending_ = true;
    status_ = ToGrpc(next.status());
    return Leave(lock);
  }
  if (!*next) return;
  notice_.Clear();
  WriteNotice((*next)->cursor, (*next)->notice, *(*next)->after, &notice_);
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
