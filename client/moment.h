// The options that say when and where, into the questions that take them.
#pragma once

#include "client/invocation.h"
#include "client/text.h"
#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

// What --as-of, --half-life and --average say, into any request that has them.
template <typename Request>
void SetMoment(const Invocation& invocation, Request& request) {
  if constexpr (requires { request.rate_mode(); }) {
    if (invocation.average) request.set_rate_mode(v1::RATE_MODE_AVERAGE);
  }
  if (invocation.as_of) *request.mutable_as_of_time() = ToTimestamp(*invocation.as_of);
  if (invocation.half_life) *request.mutable_half_life() = *invocation.half_life;
}

// Without service where the query leaves it open.
inline v1::Lane ToLane(const LaneQuery& lane) {
  v1::Lane to;
  to.set_origin(lane.origin);
  to.set_destination(lane.destination);
  if (lane.service) to.set_service(*lane.service);
  return to;
}

}  // namespace plumblane::client
