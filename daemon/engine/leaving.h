// Orders that leave: purged when they are old, erased on request.
//
// A purged order's events go and what it adds to the cells stays, so no score and no count changes.
// So that cells still are a fold, its entries move to the pages of what is no longer kept (keys 'z'
// and 'y'): cells = the fold of all orders kept + these pages, at every moment. They never change
// again: later excuses, other rules of counting and sends taken back pass them by. An erased
// order's counts go as well, with its assignments and the excuses given for it alone.
//
// Either leaves a hash by which the order is known again: what is told of it later is refused
// (EventFate::kNotKept), so nothing is counted twice.
//
// Pure but for reading the snapshot.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <map>
#include <optional>
#include <set>
#include <vector>

#include "agreements/terms.h"
#include "engine/catalog.h"
#include "engine/submission.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

// The moment by which all that can be expected of an order is over: its last event, and of each
// part its promise with the days after which it is lost or in which something can be claimed. None
// while a claim is unanswered or owed.
std::optional<Instant> OverSince(const OrderState& state, const std::vector<Event>& events,
                                 const FoldRules& rules, int claim_window_days,
                                 const TermsBook& terms);

// Since when the order is no longer kept; none = it is, or was never known.
absl::StatusOr<std::optional<Day>> NotKeptSince(const Snapshot& snapshot, const OrderKey& order);

// What leaves by one log entry. Private to engine/.
class Leaving {
 public:
  explicit Leaving(const Submission& content);

  // All that the entry names.
  std::vector<OrderKey> Orders() const;
  bool IsErased(const OrderKey& order) const { return erased_.contains(order); }
  // REQUIRES: nothing of the order changes by this entry.
  bool IsPurged(const OrderKey& order, const OrderState& state, const std::vector<Event>& events,
                const FoldRules& rules, const TermsBook& terms) const;

  // The order has left.
  void Note(const OrderKey& order);
  // Marks those that have left, and takes out what names those erased.
  absl::Status AppendTo(const Snapshot& snapshot, Instant time, Catalog& catalog,
                        Batch& batch) const;

 private:
  std::map<OrderKey, const Purge*> purged_;
  std::set<OrderKey> erased_;
  std::set<OrderKey> left_;
};

}  // namespace plumblane
