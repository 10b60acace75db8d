// A stream of what happens, without end: the next message is made when there is one and the one
// before has gone out, so a slow reader holds up nobody and costs one message of memory. Private to
// service/.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <mutex>
#include <utility>

#include "service/status.h"

namespace plumblane {

// Lives from its making until OnDone. Thread-safe.
template <typename Message>
class WatchStream : public grpc::ServerWriteReactor<Message> {
 public:
  // Sends the next message if there is one and none is on its way.
  void Next() {
    std::unique_lock lock(mutex_);
    if (writing_ || ending_) return;
    message_.Clear();
    const absl::StatusOr<bool> made = Make(message_);
    if (!made.ok()) return Leave(lock, ToGrpc(made.status()));
    if (!*made) return;
    writing_ = true;
    this->StartWrite(&message_);
  }

  void End(grpc::Status status) {
    std::unique_lock lock(mutex_);
    Leave(lock, std::move(status));
  }

  void OnWriteDone(bool ok) override {
    std::unique_lock lock(mutex_);
    writing_ = false;
    if (!ok) return Leave(lock, {grpc::CANCELLED, "the reader has gone"});
    if (ending_) return Leave(lock, {});
    lock.unlock();
    Next();
  }
  void OnCancel() override { End({grpc::CANCELLED, "cancelled"}); }

 protected:
  // Fills an empty message; false: there is none now. An error ends the stream. Called with
  // mutex() held.
  virtual absl::StatusOr<bool> Make(Message& message) = 0;

  std::mutex& mutex() { return mutex_; }

 private:
  // The first status stays. Finishes once nothing is on its way; then it may be gone, so nothing is
  // touched after.
  void Leave(std::unique_lock<std::mutex>& lock, grpc::Status status) {
    if (!std::exchange(ending_, true)) status_ = std::move(status);
    if (writing_ || std::exchange(finished_, true)) return;
    const grpc::Status last = status_;
    lock.unlock();
    this->Finish(last);
  }

  std::mutex mutex_;
  // Guarded by mutex_.
  Message message_;
  bool writing_ = false, ending_ = false, finished_ = false;
  grpc::Status status_;
};

}  // namespace plumblane
