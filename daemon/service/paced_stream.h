// Messages to one caller, one at a time, sent by the thread that makes them: it waits until each is
// on its way, so that nothing piles up for a slow reader.
#pragma once

#include <grpcpp/support/server_callback.h>

#include <condition_variable>
#include <mutex>
#include <utility>

namespace plumblane {

// Lives until OnDone, which comes after Finish. Send is for one thread; the rest is thread-safe.
template <typename Message>
class PacedStream final : public grpc::ServerWriteReactor<Message> {
 public:
  // False: nobody is there any more.
  bool Send(Message message) {
    std::unique_lock lock(mutex_);
    if (!open_) return false;
    message_ = std::move(message);
    writing_ = true;
    this->StartWrite(&message_);
    written_.wait(lock, [this] { return !writing_; });
    return open_;
  }
  bool IsOpen() {
    const std::lock_guard lock(mutex_);
    return open_;
  }

  void OnWriteDone(bool ok) override {
    const std::lock_guard lock(mutex_);
    writing_ = false;
    open_ = open_ && ok;
    written_.notify_all();
  }
  void OnCancel() override {
    const std::lock_guard lock(mutex_);
    open_ = false;
  }
  void OnDone() override { delete this; }

 private:
  std::mutex mutex_;
  std::condition_variable written_;
  Message message_;
  bool writing_ = false, open_ = true;  // guarded by mutex_
};

}  // namespace plumblane
