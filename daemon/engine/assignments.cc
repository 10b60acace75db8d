#include "engine/assignments.h"

namespace plumblane {

const std::string* PaidTo(const OrderState& order, int part) {
  for (const PartState& one : order.parts) {
    if (one.part == part && one.paid) return &one.supplier;
  }
  return nullptr;
}

AssignmentState StateOf(const Assignment& assignment, const std::optional<std::string>& paid_to) {
  if (!paid_to) return AssignmentState::kOpen;
  const bool elsewhere = !paid_to->empty() && *paid_to != assignment.pick.supplier;
  return elsewhere ? AssignmentState::kPaidElsewhere : AssignmentState::kPaid;
}

}  // namespace plumblane
