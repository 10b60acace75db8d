// Collects what happens to orders and turns it into a batch. Private to engine/.
#pragma once

#include <absl/container/flat_hash_map.h>
#include <absl/status/status.h>

#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "cohorts/cell.h"
#include "engine/cell_changes.h"
#include "engine/kept.h"
#include "engine/pair_hash.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

class Changes {
 public:
  Changes();

  // Replaces what an order was by what it is, once for each order. Either state may be empty.
  void Replace(const OrderKey& order, const OrderState& before, const OrderState& after);

  // The order leaves, and what it adds to the cells stays: in the pages of what is no longer kept.
  // REQUIRES: it is not replaced as well.
  void LetGo(const OrderKey& order, const OrderState& state);

  // Sums up and sorts what is there; AppendTo then has less to do.
  void SumUp();

  // Adds changes of other orders. REQUIRES: both are summed up, and neither was appended or taken
  // from.
  void Add(Changes&& other);

  // Adds what the store holds of orders no longer kept, as if they were folded here; for comparing.
  absl::Status AddGone(const Snapshot& snapshot);

  // What the supplier's orders that are no longer kept add goes, from here and from the cells.
  absl::Status EraseGone(const Snapshot& snapshot, const std::string& supplier);

  // The suppliers of the order were last heard of at `time`.
  void Heard(const OrderState& after, Instant time);

  // Reads what the changes touch, as far as `memory` does not keep it, adds them and appends the
  // result to `batch`, sorted within each space; `born` and `gone` receive the pairs that got their
  // first or lost their last order part. `memory` is as after the batch, its orders aside. Error
  // INTERNAL: a cell would hold less than nothing; `memory` is of no use then.
  absl::Status AppendTo(const Snapshot& snapshot, WritersMemory& memory, Batch& batch,
                        std::set<Pair>& born, std::set<Pair>& gone);

  // Whether `memory` kept all the pages that were appended.
  bool kept_all_pages() const { return kept_all_pages_; }

  // What the changes add to the cells. AppendTo can no more be called.
  CellChanges TakeCells();
  // Change of the number of counting parts.
  std::map<Pair, int64_t> PairCounts() const;
  // Index keys to add (+1) or remove (-1), each once.
  const std::vector<std::pair<std::string, int>>& index() const { return index_; }

 private:
  struct Touched {
    Pair pair;
    int64_t parts = 0;  // change of the number of counting parts
  };
  // What one number of a cell changes by. Added up at the end, which costs less than to look for
  // the cell of each.
  struct Piece {
    uint64_t cell, number;  // CellNumber, NumberOf (changes.cc)
    int64_t by;
  };
  struct Change {
    size_t pair;  // in pairs_
    Measure measure;
    Day day;
    Cell cell;
  };

  size_t Find(const Pair& pair);
  void Add(size_t pair, const Entry& entry, int64_t sign);
  void Add(const Pair& pair, Measure measure, Day day, const Cell& cell, int64_t sign);
  void SumUpPieces();
  void Note(const PartState& part, const PartState* other, int sign);
  void NoteIndex(const OrderKey& order, const PartState* before, const PartState* after);
  void Hear(const std::string& supplier, Instant time);
  void Settle();
  absl::Status AppendCells(const Snapshot& snapshot, WritersMemory& memory, Batch& batch);
  // Those of some pages, from the cell `next` on, which is then the first of the rest.
  absl::Status AppendPages(const Snapshot& snapshot, size_t& next, WritersMemory& memory,
                           Batch& batch);
  absl::Status AppendPairs(const Snapshot& snapshot, WritersMemory& memory, Batch& batch,
                           std::set<Pair>& born, std::set<Pair>& gone) const;
  absl::Status AppendHeard(const Snapshot& snapshot, WritersMemory& memory, Batch& batch) const;
  absl::Status AppendGone(const Snapshot& snapshot, Batch& batch) const;

  std::vector<Touched> pairs_;  // the first is the sum over all pairs
  absl::flat_hash_map<Pair, size_t, PairHash> pair_at_;
  std::vector<Piece> pieces_;
  size_t pieces_summed_ = 0;   // of pieces_ when they were summed up last
  bool settled_ = false;       // all pieces are in cells_, with the sums over all pairs
  std::vector<Change> cells_;  // in the order of their keys
  bool kept_all_pages_ = true;
  std::vector<std::pair<std::string, int>> index_;
  std::map<std::string, Instant> heard_;
  Cells gone_;
  std::map<Pair, int64_t> gone_parts_;
  std::set<std::string> gone_erased_;  // suppliers
};

}  // namespace plumblane
