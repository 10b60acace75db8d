// The border between the engine's errors and gRPC's.
#pragma once

#include <absl/status/status.h>
#include <grpcpp/grpcpp.h>

#include <future>
#include <memory>
#include <utility>

#include "engine/desk.h"

namespace plumblane {

// Codes are the same by number; the message is kept.
inline grpc::Status ToGrpc(const absl::Status& status) {
  return {static_cast<grpc::StatusCode>(status.raw_code()), std::string(status.message())};
}

// Answers a unary call at once with what `answer` returns.
template <typename Answer>
grpc::ServerUnaryReactor* ReplyNow(grpc::CallbackServerContext* context, const Answer& answer) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  reactor->Finish(ToGrpc(answer()));
  return reactor;
}

// Waits until it is durable and applied.
inline Receipt SubmitAndWait(Desk& engine, Submission submission) {
  std::promise<Receipt> receipt;
  if (!engine.Submit(std::move(submission),
                     [&receipt](const Receipt& answer) { receipt.set_value(answer); })) {
    return {
        absl::ResourceExhaustedError("too many events are waiting; try again shortly"), 0, {}, {}};
  }
  return receipt.get_future().get();
}

// Submits facts and finishes the call when they are durable; `fill` writes the response before. A
// full queue is an answer here, not a wait: facts are few.
template <typename Fill>
void SubmitFact(Desk& engine, Submission submission, grpc::ServerUnaryReactor* reactor,
                const Fill& fill) {
  const bool queued = engine.Submit(std::move(submission), [reactor, fill](const Receipt& receipt) {
    if (receipt.status.ok()) fill(receipt);
    reactor->Finish(ToGrpc(receipt.status));
  });
  if (!queued) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED, "too many events are waiting; try again shortly"});
  }
}

}  // namespace plumblane
