// The whole state, piece by piece in the order of its keys: for those who take all of it along.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <utility>
#include <vector>

#include "base/ids.h"
#include "cohorts/cell.h"
#include "engine/assignments.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

struct StoredOrder {
  OrderKey key;
  std::vector<Event> events;
  std::vector<Ignored> ignored;  // along events
};

// Whole orders from `place` on ("" = the start) with `events` events or some more, less only at the
// end; none = there are no more. `place` moves on behind them. Errors: those of the store;
// DATA_LOSS for a malformed record.
absl::StatusOr<std::vector<StoredOrder>> NextOrders(const Snapshot& snapshot, size_t events,
                                                    std::string& place);

// The cells of pairs likewise, without their sum over all pairs.
absl::StatusOr<std::vector<std::pair<CellKey, Cell>>> NextCells(const Snapshot& snapshot,
                                                                size_t cells, std::string& place);

// Assignments likewise, by order and part.
absl::StatusOr<std::vector<StoredAssignment>> NextAssignments(const Snapshot& snapshot,
                                                              size_t assignments,
                                                              std::string& place);

}  // namespace plumblane
