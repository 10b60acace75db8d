// Collects what happens to orders and turns it into a batch. Private to engine/.
#pragma once

#include <absl/status/status.h>

#include <map>
#include <set>
#include <string>
#include <utility>

#include "cohorts/cell.h"
#include "engine/submission.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

class Changes {
 public:
  // Replaces what an order was by what it is. Either state may be empty.
  void Replace(const OrderKey& order, const OrderState& before, const OrderState& after);

  // The suppliers of the order were last heard of at `time`.
  void Heard(const OrderState& after, Instant time);

  // Reads what the changes touch, adds them and appends the result to `batch`; `born` and `gone`
  // receive the pairs that got their first or lost their last order part. Error INTERNAL: a cell
  // would hold less than nothing.
  absl::Status AppendTo(const Snapshot& snapshot, Batch& batch, std::set<Pair>& born,
                        std::set<Pair>& gone) const;

  const Cells& cells() const { return cells_; }
  Cells TakeCells() { return std::move(cells_); }
  const std::map<Pair, int64_t>& pairs() const { return pairs_; }
  // Index keys to add (+1) or remove (-1); those with 0 stay as they are.
  const std::map<std::string, int>& index() const { return index_; }

 private:
  absl::Status AppendCells(const Snapshot& snapshot, Batch& batch) const;
  absl::Status AppendPairs(const Snapshot& snapshot, Batch& batch, std::set<Pair>& born,
                           std::set<Pair>& gone) const;
  absl::Status AppendHeard(const Snapshot& snapshot, Batch& batch) const;

  Cells cells_;
  std::map<Pair, int64_t> pairs_;  // change of the number of counting parts
  std::map<std::string, int> index_;
  std::map<std::string, Instant> heard_;
};

// How the order stands: parts known, waiting, unpromised.
StandingDelta StandingOf(const OrderState& state);

}  // namespace plumblane
