// Takes a supplier out: what names it beside its orders. Those are erased first, as orders
// (leaving.h), some at a time; then what was assigned, some at a time; then all the rest at once.
//
//   assigned to it               goes
//   assigned to others           stays, without it among those that were looked at
//   quotes, terms, pauses, item codes   their rows leave the loads that brought them
//   alerts of it                 go; the numbers of their notices stay taken
//   what its purged orders count goes, for it is kept by supplier
//
// What is told of it later is of a supplier never heard of; only orders that left are refused.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <functional>
#include <string>
#include <vector>

#include "engine/applier.h"
#include "engine/catalog.h"
#include "engine/changes.h"
#include "engine/submission.h"
#include "storage/store.h"

namespace plumblane {

// Orders of which any event names the supplier, from after `place` on, as many as `limit`; `place`
// is then that of the last one read, "" when there are no more. Other parts of such an order may be
// another supplier's. CANCELLED once `give_up`, asked now and then, says so.
absl::StatusOr<std::vector<OrderKey>> SomeOrdersNaming(const Snapshot& snapshot,
                                                       const std::string& supplier, size_t limit,
                                                       const std::function<bool()>& give_up,
                                                       std::string& place);
// The same of orders with an assignment that names it, in the order of those.
absl::StatusOr<std::vector<OrderKey>> SomeAssignedNaming(const Snapshot& snapshot,
                                                         const std::string& supplier, size_t limit,
                                                         std::string& place);

// What there is of it.
struct SupplierTraces {
  int64_t orders = 0;         // kept
  int64_t shared_orders = 0;  // of these: another supplier has a part of it
  int64_t assignments = 0;    // that name it
  int64_t agreed_rows = 0;    // quotes, terms, pauses and item codes
  int64_t alerts = 0;
  int64_t purged_parts = 0;  // no longer kept, counted still
  bool empty() const;
};
absl::StatusOr<SupplierTraces> TracesOf(const Snapshot& snapshot, const Catalog& catalog,
                                        const FoldRules& rules, const std::string& supplier,
                                        const std::function<bool()>& give_up);

// One step, after all else that the entry says; `batch` has what that changes. Private to engine/.
absl::Status EraseSupplier(const Snapshot& snapshot, const ErasedSupplier& erased,
                           const LogEntry& entry, Catalog& catalog, Changes& changes, Batch& batch);

}  // namespace plumblane
