// A stream whose next message is made when the one before has gone out: a reader that is slow costs
// one message of memory, whatever the stream is long. Private to service/.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <functional>
#include <utility>

#include "service/status.h"

namespace plumblane {

// Lives from its making until OnDone. `Next` fills an empty message, or says false: that was all.
// It is called by one thread at a time, and should take milliseconds: it runs on a thread that
// answers others too.
template <typename Message>
class PullStream final : public grpc::ServerWriteReactor<Message> {
 public:
  using Next = std::function<absl::StatusOr<bool>(Message& message)>;
  // `done` is called last.
  PullStream(Next next, std::function<void()> done)
      : next_(std::move(next)), done_(std::move(done)) {
    Send();
  }

  void OnWriteDone(bool ok) override {
    if (ok) return Send();
    this->Finish({grpc::CANCELLED, "the reader has gone"});
  }
  void OnDone() override {
    done_();
    delete this;
  }

 private:
  void Send() {
    message_.Clear();
    const absl::StatusOr<bool> more = next_(message_);
    if (!more.ok() || !*more) return this->Finish(ToGrpc(more.status()));
    this->StartWrite(&message_);
  }

  const Next next_;
  const std::function<void()> done_;
  Message message_;
};

}  // namespace plumblane
