// The cells of the orders of one shop, which no stored cell keeps apart: made of what each order
// adds to the cohorts. Private to engine/.
//
// Not thread-safe; adds up.
#pragma once

#include <absl/status/status.h>

#include <span>
#include <string>

#include "orders/fold.h"
#include "review/period.h"
#include "scoring/score.h"
#include "storage/store.h"

namespace plumblane {

// OK for a shop that has an order, and for "". Errors: NOT_FOUND; those of the store.
absl::Status CheckShop(const Snapshot& snapshot, const std::string& shop);

class ShopCells {
 public:
  // What lies in one of the ranges.
  void Add(const PartState& part, std::span<const Period> ranges);
  void Add(const ShopCells& other) { cells_.Add(other.cells_); }

  // As stored cells of the pair would be, had there been no other shop.
  MeasureSet Of(const Pair& pair) const;

 private:
  Cells cells_;
};

}  // namespace plumblane
