// What an entry adds to the cells, by pair.
#pragma once

#include <vector>

#include "cohorts/cell.h"

namespace plumblane {

struct CellChange {
  Measure measure = Measure::kOnTime;
  Day day;
  Cell cell;  // not empty; its numbers may be negative
  bool operator==(const CellChange&) const = default;
};

struct PairChange {
  Pair pair;
  std::vector<CellChange> cells;  // not empty, ascending by measure and day
  bool operator==(const PairChange&) const = default;
};

// Ascending by pair.
using CellChanges = std::vector<PairChange>;

}  // namespace plumblane
