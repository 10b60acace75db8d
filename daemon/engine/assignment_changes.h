// How one log entry changes assignments: those it makes, and those whose part it pays or no longer
// pays. Private to engine/.
//
// Not thread-safe.
#pragma once

#include <absl/status/status.h>

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "agreements/assignment.h"
#include "engine/catalog.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

// Whom the parts of orders were and are paid to.
class Payments {
 public:
  using Part = std::pair<OrderKey, int>;
  struct Payment {
    std::optional<std::string> before, after;  // none while it is not paid
  };

  // From now on what stayed as it was is kept too: an assignment may be made of it.
  void KeepUnchanged() { keeps_unchanged_ = true; }

  void Note(const OrderKey& order, const OrderState& before, const OrderState& after);

  // Those of parts of other orders.
  void Add(Payments&& other) { payments_.merge(other.payments_); }

  const std::map<Part, Payment>& all() const { return payments_; }

 private:
  bool keeps_unchanged_ = false;
  std::map<Part, Payment> payments_;
};

// Writes to `batch` and to the open assignments of `catalog`. A part that has an assignment keeps
// it. REQUIRES: `payments` has every part of `given`, if it is known.
absl::Status ChangeAssignments(const Snapshot& snapshot, const Payments& payments,
                               const std::vector<Assignment>& given, Catalog& catalog,
                               Batch& batch);

}  // namespace plumblane
