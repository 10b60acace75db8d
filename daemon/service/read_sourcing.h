// Questions about sourcing from the API into the engine's terms. Errors INVALID_ARGUMENT, naming
// the field.
#pragma once

#include <absl/status/statusor.h>
#include <plumblane/v1/sourcing.pb.h>

#include "base/ids.h"
#include "engine/sourcing.h"

namespace plumblane {

inline constexpr int64_t kMostUnits = 1'000'000;

absl::StatusOr<OrderToSource> ReadOrderToSource(const v1::RankSuppliersRequest& request);

struct OrderToGive {
  OrderKey key;
  OrderToSource order;
};
absl::StatusOr<OrderToGive> ReadOrderToGive(const v1::OrderToAssign& in);

// "sale: expected ..." becomes "sale".
std::string FieldOf(const absl::Status& status);

}  // namespace plumblane
