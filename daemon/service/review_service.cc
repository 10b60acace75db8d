#include "service/review_service.h"

#include <condition_variable>
#include <memory>
#include <mutex>

#include "service/query_services.h"
#include "service/read_question.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr char kBusy[] = "another review is being made; ask again when it is done";

// Sends one order after the other for the thread that finds them; lives until OnDone.
class EvidenceStream final : public grpc::ServerWriteReactor<v1::EvidenceOrder> {
 public:
  // Waits until it is on its way. False: nobody is there any more.
  bool Send(const v1::EvidenceOrder& order) {
    std::unique_lock lock(mutex_);
    if (!open_) return false;
    order_ = order;
    writing_ = true;
    StartWrite(&order_);
    written_.wait(lock, [this] { return !writing_; });
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
  v1::EvidenceOrder order_;
  bool writing_ = false, open_ = true;  // guarded by mutex_
};

}  // namespace

grpc::ServerUnaryReactor* ReviewsService::GetReview(grpc::CallbackServerContext* context,
                                                    const v1::GetReviewRequest* request,
                                                    v1::Review* response) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, context, request, response] {
    const View view = engine_.Look();
    // A caller that has gone, and a stop of the daemon, end the work.
    *status = plumblane::GetReview(view, *request, LatestAskable(engine_, view), response,
                                   [context] { return context->IsCancelled(); });
  };
  if (!reviews_.Start(work, [status, reactor] { reactor->Finish(ToGrpc(*status)); })) {
    reactor->Finish({grpc::RESOURCE_EXHAUSTED, kBusy});
  }
  return reactor;
}

grpc::ServerWriteReactor<v1::EvidenceOrder>* ReviewsService::ListEvidence(
    grpc::CallbackServerContext*, const v1::GetReviewRequest* request) {
  auto* stream = new EvidenceStream;
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, stream, asked = *request] {
    const View view = engine_.Look();
    *status = plumblane::ListEvidence(view, asked, LatestAskable(engine_, view),
                                      [stream](const auto& order) { return stream->Send(order); });
  };
  if (!reviews_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, kBusy});
  }
  return stream;
}

absl::Status GetReview(const View& view, const v1::GetReviewRequest& request, Instant latest,
                       v1::Review* response, const std::function<bool()>& give_up) {
  const auto asked = ReadReview(request, latest);
  if (!asked.ok()) return asked.status();
  const auto answer = view.Review(*asked, give_up);
  if (!answer.ok()) return answer.status();
  WriteReview(*asked, *answer, view.rules().claim_window_days, response);
  return absl::OkStatus();
}

absl::Status ListEvidence(const View& view, const v1::GetReviewRequest& request, Instant latest,
                          const std::function<bool(const v1::EvidenceOrder&)>& each) {
  const auto asked = ReadReview(request, latest);
  if (!asked.ok()) return asked.status();
  return view.Evidence(*asked, [&](const EvidenceOrder& found) {
    v1::EvidenceOrder order;
    WriteEvidence(found, &order);
    return each(order);
  });
}

}  // namespace plumblane
