// Whether what is stored is what was told: everything is counted anew and compared.
//
// Where the log reaches back to its first entry it is applied again from nothing, in memory, and
// orders, cells, indexes and records are compared byte by byte. Else orders are taken as stored,
// and what follows from them is counted anew; of the log, what it still holds must be whole. Where
// several daemons share a log only orders are counted.
//
// On a snapshot, so the writer goes on meanwhile. Costs some 30 us an order and memory for the
// cells and indexes, from the log for all that is stored.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <string>

#include "storage/store.h"

namespace plumblane {

struct VerifyProgress {
  enum class Step { kLog, kOrders, kCompare };
  Step step = Step::kOrders;
  int64_t orders = 0;  // counted so far
  int64_t of = 0;      // order parts, roughly the orders there are
};

struct Verified {
  std::string difference;  // the first, in words; "" = none
  uint64_t log_sequence = 0;
  int64_t order_count = 0;
  int64_t event_count = 0;
  uint64_t first_kept_sequence = 1;  // of the log; 1: everything was applied again

  bool from_log() const { return first_kept_sequence == 1; }
};

// `tell` is called now and then; false ends it with the error CANCELLED. Other errors are those of
// the store; what cannot be decoded is a difference. `has_log`: the log is in the store, not
// elsewhere among several daemons.
absl::StatusOr<Verified> Verify(const Snapshot& snapshot,
                                const std::function<bool(const VerifyProgress&)>& tell,
                                bool has_log = true);

}  // namespace plumblane
