// Verify and Backup: seconds to minutes of work each, on a thread of its own.
#include "service/keeping.h"

#include <absl/strings/str_cat.h>

#include <memory>

#include "base/stopwatch.h"
#include "engine/verify.h"
#include "service/paced_stream.h"
#include "service/query_services.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr double kTellEverySeconds = 1;

// UNAVAILABLE means to a caller that the daemon is out of reach.
absl::Status OfTheDisk(const absl::Status& status) {
  return absl::IsUnavailable(status) ? absl::FailedPreconditionError(status.message()) : status;
}

v1::VerifyUpdate::Step WriteStep(VerifyProgress::Step step) {
  switch (step) {
    case VerifyProgress::Step::kLog:
      return v1::VerifyUpdate::STEP_LOG;
    case VerifyProgress::Step::kOrders:
      return v1::VerifyUpdate::STEP_ORDERS;
    default:
      return v1::VerifyUpdate::STEP_COMPARE;
  }
}

// Sends an update now and then, each new step at once.
class Teller {
 public:
  explicit Teller(PacedStream<v1::VerifyUpdate>& stream) : stream_(stream) {}

  bool Tell(v1::VerifyUpdate update) {
    if (update.step() == last_ && watch_.Seconds() < kTellEverySeconds) return stream_.IsOpen();
    last_ = update.step();
    watch_ = {};
    return stream_.Send(std::move(update));
  }

 private:
  PacedStream<v1::VerifyUpdate>& stream_;
  v1::VerifyUpdate::Step last_ = v1::VerifyUpdate::STEP_UNSPECIFIED;
  Stopwatch watch_;
};

absl::Status VerifyInto(const View& view, bool has_log, const Keeping& keeping,
                        PacedStream<v1::VerifyUpdate>& stream) {
  Teller teller(stream);
  v1::VerifyUpdate update;
  update.set_order_count(view.catalog().order_count);
  update.set_step(v1::VerifyUpdate::STEP_FILES);
  absl::Status files;
  if (!teller.Tell(update)) return absl::CancelledError("given up");
  if (keeping.check_files) files = keeping.check_files([&stream] { return !stream.IsOpen(); });
  if (!files.ok() && !absl::IsDataLoss(files)) return files;
  Verified verified;
  if (files.ok()) {
    auto counted = Verify(
        view.snapshot(),
        [&](const VerifyProgress& progress) {
          update.set_step(WriteStep(progress.step));
          update.set_checked_order_count(progress.orders);
          return teller.Tell(update);
        },
        has_log);
    if (!counted.ok()) return counted.status();
    verified = *std::move(counted);
  } else {
    verified.difference = std::string(files.message());
  }
  v1::VerifyResult* result = update.mutable_result();
  result->set_difference(verified.difference);
  result->set_log_sequence(static_cast<int64_t>(verified.log_sequence));
  result->set_order_count(verified.order_count);
  result->set_event_count(verified.event_count);
  result->set_first_kept_sequence(static_cast<int64_t>(verified.first_kept_sequence));
  stream.Send(std::move(update));
  return absl::OkStatus();
}

absl::Status BackUp(const Desk& engine, const Keeping& keeping, const v1::BackupRequest& request,
                    const std::function<bool()>& give_up, v1::BackupResponse* response) {
  if (!keeping.back_up) return absl::UnimplementedError("this store cannot be copied");
  if (request.directory().empty() || request.directory()[0] != '/') {
    return absl::InvalidArgumentError("directory: expected an absolute path");
  }
  if (request.keep_count() < 0) {
    return absl::InvalidArgumentError("keep_count: expected 0 or more");
  }
  const auto sequence = engine.Look().catalog().log_sequence;
  const auto copy = keeping.back_up(request.directory(), request.keep_count(), give_up);
  if (!copy.ok()) return OfTheDisk(copy.status());
  response->set_number(copy->number);
  response->set_log_sequence(static_cast<int64_t>(sequence));
  response->set_byte_count(copy->bytes);
  WriteTime(copy->made, response->mutable_create_time());
  response->set_kept_count(copy->kept);
  return absl::OkStatus();
}

}  // namespace

grpc::ServerWriteReactor<v1::VerifyUpdate>* OperationsService::Verify(
    grpc::CallbackServerContext* /*context*/, const v1::VerifyRequest* /*request*/) {
  auto* stream = new PacedStream<v1::VerifyUpdate>;
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, stream] {
    *status = OfTheDisk(VerifyInto(engine_.Look(), !engine_.shared_log(), keeping_, *stream));
  };
  if (!verifies_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, "the data is being verified; ask again later"});
  }
  return stream;
}

grpc::ServerUnaryReactor* OperationsService::Backup(grpc::CallbackServerContext* context,
                                                    const v1::BackupRequest* request,
                                                    v1::BackupResponse* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, context, request, response] {
    *status = BackUp(
        engine_, keeping_, *request, [context] { return context->IsCancelled(); }, response);
  };
  if (!backups_.Start(work, [status, reactor] { reactor->Finish(ToGrpc(*status)); })) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED, "another copy is being made; ask again later"});
  }
  return reactor;
}

}  // namespace plumblane
