#include "service/write_delivery.h"

#include "service/write_answer.h"

namespace plumblane {
namespace {

v1::DeliveryAttempt::Outcome OutcomeOf(SendResult::Kind kind) {
  switch (kind) {
    case SendResult::Kind::kDelivered:
      return v1::DeliveryAttempt::OUTCOME_DELIVERED;
    case SendResult::Kind::kRefused:
      return v1::DeliveryAttempt::OUTCOME_REFUSED;
    case SendResult::Kind::kStopped:
      return v1::DeliveryAttempt::OUTCOME_STOPPED;
    default:
      return v1::DeliveryAttempt::OUTCOME_FAILED;
  }
}

}  // namespace

void WriteDelivery(const RouteState& state, v1::Delivery* out) {
  out->set_sink(state.name);
  out->set_state(state.stopped        ? v1::Delivery::STATE_STOPPED
                 : state.next_attempt ? v1::Delivery::STATE_WAITING
                                      : v1::Delivery::STATE_OK);
  out->set_handled_cursor(state.handled);
  out->set_backlog_count(state.backlog);
  if (state.next_attempt) WriteTime(*state.next_attempt, out->mutable_next_attempt_time());
  out->set_refused_count(state.refused);
  for (const RouteState::Attempt& attempt : state.attempts) {
    v1::DeliveryAttempt* one = out->add_attempts();
    WriteTime(attempt.time, one->mutable_attempt_time());
    one->set_cursor(attempt.cursor);
    one->set_notice_count(static_cast<int32_t>(attempt.notices));
    one->set_outcome(OutcomeOf(attempt.result.kind));
    one->set_code(attempt.result.code);
    one->set_detail(attempt.result.detail);
  }
}

}  // namespace plumblane
