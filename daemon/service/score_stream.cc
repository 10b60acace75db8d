#include "service/score_stream.h"

#include <utility>

namespace plumblane {

void ScoreStream::Offer(const std::shared_ptr<const ScoreTable>& table) {
  std::unique_lock lock(mutex_);
  teller_.Offer(table);
  Next(lock);
}

void ScoreStream::Next(std::unique_lock<std::mutex>& /*held*/) {
  if (writing_ || ending_ || !teller_.Next(change_)) return;
  writing_ = true;
  StartWrite(&change_);
}

void ScoreStream::End(grpc::Status status) {
  std::unique_lock lock(mutex_);
  if (ending_) return;
  ending_ = true;
  status_ = std::move(status);
  Leave(lock);
}

// Finishes once nothing is on its way; then it may be gone, so nothing is touched after.
void ScoreStream::Leave(std::unique_lock<std::mutex>& lock) {
  if (!ending_ || writing_ || finished_) return;
  finished_ = true;
  const grpc::Status status = status_;
  lock.unlock();
  Finish(status);
}

void ScoreStream::OnWriteDone(bool ok) {
  std::unique_lock lock(mutex_);
  writing_ = false;
  if (!ok && !ending_) {
    ending_ = true;
    status_ = {grpc::CANCELLED, "the reader has gone"};
  }
  if (ending_) return Leave(lock);
  Next(lock);
}

void ScoreStream::OnDone() {
  service_.Forget(this);
  delete this;
}

}  // namespace plumblane
