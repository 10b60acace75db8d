// Where pairs are looked for by hash. Private to engine/.
#pragma once

#include <absl/hash/hash.h>

#include <cstddef>

#include "cohorts/cell.h"

namespace plumblane {

struct PairHash {
  size_t operator()(const Pair& pair) const {
    return absl::HashOf(pair.supplier, pair.lane.origin, pair.lane.destination, pair.lane.service);
  }
};

}  // namespace plumblane
