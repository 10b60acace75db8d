// Cells: the only thing a score is made of.
//
// A cell is keyed (pair, measure, day) and holds integers: how many orders entered, and a sparse
// map (code, bucket) -> count of what became of them, apart for excused orders. Cells form a group
// under addition: a change is a cell whose numbers may be negative, adding a change and its
// opposite leaves nothing, and the order of additions does not matter. A supplier, a lane, a fleet
// of daemons is the sum of its cells.
//
// Not thread-safe; plain values.
#pragma once

#include <absl/container/inlined_vector.h>

#include <cstdint>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "base/lane.h"
#include "base/time.h"
#include "cohorts/measure.h"

namespace plumblane {

// One supplier on one lane with one service: the smallest thing that has a score. The pair with an
// empty supplier and lane holds the sum over all pairs (rates only), which the pooled prior reads.
struct Pair {
  std::string supplier;
  Lane lane;
  auto operator<=>(const Pair&) const = default;
};

struct Outcome {
  Code code = Code::kLeft;
  uint32_t bucket = 0;
  int64_t count = 0;  // money: a sum of minor units; never 0 inside a tally
  auto operator<=>(const Outcome&) const = default;
};

struct Tally {
  int64_t entered = 0;
  std::vector<Outcome> outcomes;  // sorted by (code, bucket), counts not 0

  void Add(Code code, uint32_t bucket, int64_t count);
  void Add(const Tally& other, int64_t sign = 1);
  bool empty() const { return entered == 0 && outcomes.empty(); }
  auto operator<=>(const Tally&) const = default;
};

struct Cell {
  Tally counted;
  Tally excused;

  void Add(const Cell& other, int64_t sign = 1);
  bool empty() const { return counted.empty() && excused.empty(); }
  auto operator<=>(const Cell&) const = default;
};

struct CellKey {
  Pair pair;
  Measure measure = Measure::kOnTime;
  Day day;
  auto operator<=>(const CellKey&) const = default;
};

// True when the cell can be the sum of whole orders: nothing negative (money sums aside) and no
// more outcomes than entries. A stored cell for which this is false is a bug.
bool IsPlausible(Measure measure, const Cell& cell);

// One order's contribution to one cell of its pair.
struct Entry {
  Measure measure = Measure::kOnTime;
  Day day;
  bool excused = false;
  int64_t entered = 0;  // 0 or 1
  // What became of it, and the money it carries; usually none or one.
  absl::InlinedVector<Outcome, 1> outcomes;
  bool operator==(const Entry&) const = default;
};

// A sparse set of cells or of changes; holds no empty cell.
class Cells {
 public:
  // Adds `sign` times the entry, also to the sum over all pairs when the measure is a rate.
  void Add(const Pair& pair, const Entry& entry, int64_t sign);
  void Add(const Cells& other);

  const std::map<CellKey, Cell>& map() const { return cells_; }
  bool empty() const { return cells_.empty(); }
  bool operator==(const Cells&) const = default;

 private:
  void AddTo(const CellKey& key, bool excused, const Tally& tally, int64_t sign);

  std::map<CellKey, Cell> cells_;
};

// One measure of one pair, lane or supplier: its cells by day, ascending, none empty.
struct Cohort {
  Day day;
  Cell cell;
  bool operator==(const Cohort&) const = default;
};
using Series = std::vector<Cohort>;

// Adds `other` into `series`.
void AddSeries(Series& series, const Series& other);

}  // namespace plumblane
