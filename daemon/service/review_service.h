// Reviews: the account of a period, and the orders behind it.
#pragma once

#include <plumblane/v1/reviews.grpc.pb.h>

#include <functional>

#include "engine/desk.h"
#include "service/one_at_a_time.h"

namespace plumblane {

class ReviewsService final : public v1::Reviews::CallbackService {
 public:
  // `engine` must outlive the service.
  explicit ReviewsService(Desk& engine) : engine_(engine) {}
  grpc::ServerWriteReactor<v1::Review>* GetReview(grpc::CallbackServerContext* context,
                                                  const v1::GetReviewRequest* request) override;
  grpc::ServerWriteReactor<v1::EvidenceOrder>* ListEvidence(
      grpc::CallbackServerContext* context, const v1::GetReviewRequest* request) override;

 private:
  Desk& engine_;
  OneAtATime reviews_;
};

// What the handlers do, without a server: until `each` returns false. `give_up` is asked now and
// then while the review is made.
absl::Status GetReview(const View& view, const v1::GetReviewRequest& request, Instant latest,
                       const std::function<bool()>& give_up,
                       const std::function<bool(v1::Review)>& each);
absl::Status ListEvidence(const View& view, const v1::GetReviewRequest& request, Instant latest,
                          const std::function<bool(v1::EvidenceOrder)>& each);

}  // namespace plumblane
