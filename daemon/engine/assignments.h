// Assignments as they are kept: with what became of them.
//
// Pure and thread-safe. The numbers of the enum are part of the bytes on disk: never renumber.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "agreements/assignment.h"
#include "orders/fold.h"

namespace plumblane {

enum class AssignmentState : uint8_t {
  kOpen = 1,           // its part is not paid
  kPaid = 2,           // paid to the supplier it was given to, or to one that no event names
  kPaidElsewhere = 3,  // paid to another
};

struct StoredAssignment {
  Assignment assignment;
  AssignmentState state = AssignmentState::kOpen;
  bool operator==(const StoredAssignment&) const = default;
};

// The supplier a part is paid to, "" while no event names one, as `order` has it; null while it is
// not paid.
const std::string* PaidTo(const OrderState& order, int part);

AssignmentState StateOf(const Assignment& assignment, const std::optional<std::string>& paid_to);

}  // namespace plumblane
