// Questions of the API into questions of the engine.
#pragma once

#include <absl/status/statusor.h>
#include <google/protobuf/duration.pb.h>
#include <google/protobuf/timestamp.pb.h>
#include <plumblane/v1/event.pb.h>
#include <plumblane/v1/orders.pb.h>
#include <plumblane/v1/reviews.pb.h>
#include <plumblane/v1/scores.pb.h>

#include <string>
#include <vector>

#include "engine/view.h"

namespace plumblane {

// Error INVALID_ARGUMENT, naming the field: the time lies before 1970, or more than a day after
// `latest`, when nothing can be known yet.
absl::StatusOr<Instant> ReadTime(const std::string& field, const google::protobuf::Timestamp& in,
                                 Instant latest);

// A supplier to ask about, "" = all. Error INVALID_ARGUMENT.
absl::Status CheckSupplier(const std::string& supplier);

// Error INVALID_ARGUMENT, naming the field. Without a service the sum over services.
absl::StatusOr<LaneQuery> ReadLane(const std::string& field, const v1::Lane& in);

double ReadDays(const google::protobuf::Duration& in);

// Errors INVALID_ARGUMENT, naming the field.
absl::StatusOr<RateMode> ReadRateMode(v1::RateMode in);
absl::StatusOr<std::vector<double>> ReadWithinDays(
    const google::protobuf::RepeatedField<double>& in);

// How a request about scores is put: as_of_time and half_life, and rate_mode and within_days where
// it has them. The half-life is checked where it is used.
template <typename Request>
absl::StatusOr<Asked> ReadAsked(const Request& request, Instant latest) {
  Asked asked;
  if (request.has_as_of_time()) {
    auto time = ReadTime("as_of_time", request.as_of_time(), latest);
    if (!time.ok()) return time.status();
    asked.as_of = *time;
  }
  if (request.has_half_life()) {
    asked.half_life_days = ReadDays(request.half_life());
  }
  if constexpr (requires { request.rate_mode(); }) {
    const auto mode = ReadRateMode(request.rate_mode());
    if (!mode.ok()) return mode.status();
    asked.rate_mode = *mode;
  }
  if constexpr (requires { request.within_days(); }) {
    auto days = ReadWithinDays(request.within_days());
    if (!days.ok()) return days.status();
    asked.within_days = *std::move(days);
  }
  return asked;
}

// With the default half-lives when none is asked for.
absl::StatusOr<BacktestAsked> ReadBacktest(const v1::BacktestRequest& request, Instant latest);

// Errors INVALID_ARGUMENT, naming the field.
absl::StatusOr<ReviewAsked> ReadReview(const v1::GetReviewRequest& request, Instant latest);

// "suppliers/S", "lanes/VN-DE", "lanes/VN-DE/express", "suppliers/S/lanes/VN-DE".
absl::StatusOr<Subject> ReadSubject(const std::string& name);

// Shop and order id with the default filled in, checked.
absl::StatusOr<OrderKey> ReadOrderKey(const std::string& shop, const std::string& order_id);

// An excuse to be logged, its id made from its subject when it has none.
absl::StatusOr<Excuse> ReadExcuse(const v1::Excuse& in);

}  // namespace plumblane
