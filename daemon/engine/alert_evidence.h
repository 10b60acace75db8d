// What an alert rests on, counted when it is asked for: everything that is known by now of the
// orders since the change, not only what was known when it was told.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "cohorts/cell.h"

namespace plumblane {

// Hits and orders of one supplier and lane with service among those of an alert.
struct AlertShare {
  Pair pair;
  int64_t orders = 0, hits = 0;
};

struct AlertEvidence {
  // From the change to the closing day, or to the last settled one.
  int64_t orders = 0, hits = 0;
  // Those with orders: most hits first, then as pairs are ordered.
  std::vector<AlertShare> shares;
};

}  // namespace plumblane
