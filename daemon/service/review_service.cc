#include "service/review_service.h"

#include <algorithm>
#include <memory>
#include <utility>

#include "service/paced_stream.h"
#include "service/query_services.h"
#include "service/read_question.h"
#include "service/status.h"
#include "service/write_answer.h"

namespace plumblane {
namespace {

constexpr char kBusy[] = "another review is being made; ask again when it is done";

// A message for each account would cost more than what is in it.
constexpr size_t kAccountsInPart = 32;

}  // namespace

grpc::ServerWriteReactor<v1::Review>* ReviewsService::GetReview(
    grpc::CallbackServerContext*, const v1::GetReviewRequest* request) {
  auto* stream = new PacedStream<v1::Review>;
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, stream, asked = *request] {
    const View view = engine_.Look();
    // A caller that has gone, and a stop of the daemon, end the work.
    *status = plumblane::GetReview(
        view, asked, LatestAskable(engine_, view), [stream] { return !stream->IsOpen(); },
        [stream](v1::Review part) { return stream->Send(std::move(part)); });
  };
  if (!reviews_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, kBusy});
  }
  return stream;
}

grpc::ServerWriteReactor<v1::EvidenceOrder>* ReviewsService::ListEvidence(
    grpc::CallbackServerContext*, const v1::GetReviewRequest* request) {
  auto* stream = new PacedStream<v1::EvidenceOrder>;
  const auto status = std::make_shared<absl::Status>();
  const auto work = [this, status, stream, asked = *request] {
    const View view = engine_.Look();
    *status = plumblane::ListEvidence(
        view, asked, LatestAskable(engine_, view),
        [stream](v1::EvidenceOrder order) { return stream->Send(std::move(order)); });
  };
  if (!reviews_.Start(work, [status, stream] { stream->Finish(ToGrpc(*status)); })) {
    stream->Finish({grpc::RESOURCE_EXHAUSTED, kBusy});
  }
  return stream;
}

absl::Status GetReview(const View& view, const v1::GetReviewRequest& request, Instant latest,
                       const std::function<bool()>& give_up,
                       const std::function<bool(v1::Review)>& each) {
  const auto asked = ReadReview(request, latest);
  if (!asked.ok()) return asked.status();
  const auto answer = view.Review(*asked, give_up);
  if (!answer.ok()) return answer.status();
  v1::Review part;
  WriteReview(*asked, *answer, view.rules().claim_window_days, &part);
  bool go_on = each(std::move(part));
  const size_t count = answer->accounts.size();
  for (size_t i = 0; i < count && go_on; i += kAccountsInPart) {
    part = {};
    for (size_t k = i; k < std::min(count, i + kAccountsInPart); ++k) {
      WriteAccount(answer->accounts[k], answer->rest[k], asked->to_share, part.add_accounts());
    }
    go_on = each(std::move(part));
  }
  return absl::OkStatus();
}

absl::Status ListEvidence(const View& view, const v1::GetReviewRequest& request, Instant latest,
                          const std::function<bool(v1::EvidenceOrder)>& each) {
  const auto asked = ReadReview(request, latest);
  if (!asked.ok()) return asked.status();
  return view.Evidence(*asked, [&](const EvidenceOrder& found) {
    v1::EvidenceOrder order;
    WriteEvidence(found, &order);
    return each(std::move(order));
  });
}

}  // namespace plumblane
