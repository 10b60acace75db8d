// Applying a log entry: from the state before and the entry to the changes of the state.
//
// A pure function of (snapshot, catalog, rules, entry): no clock, no randomness, no order that
// depends on hashing, so every reader of the same log holds the same bytes. An entry was checked
// before it was logged and cannot fail to apply; errors are those of the store, or DATA_LOSS /
// INTERNAL when what is stored contradicts itself.
//
// Of an entry sends that begin come first, then those taken back (sends.h), loads, events,
// assignments. Of several assignments of a part the
// first stays. An assignment is open until its part is paid, and again when that is retracted.
// Notices of alerts come last; those that say nothing (AlertsTold::Take) are not kept. It is here
// that they become quiet (IsQuiet), so it does not matter what was known when they were made.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "engine/catalog.h"
#include "engine/cell_changes.h"
#include "engine/kept.h"
#include "engine/records.h"
#include "engine/submission.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

struct Applied {
  Batch batch;                           // orders, cells, indexes, sources and progress
  Catalog catalog;                       // after
  CellChanges cells;                     // what the batch adds to the cells
  std::vector<EventFate> fates;          // one for each event of the entry
  std::vector<StandingDelta> standings;  // likewise; an order's change is at its last event
  std::vector<int64_t> sends;            // the numbers of those begun
  // `memory` has all orders and pages of cells that the entry touched. Else it must be written
  // before another is applied.
  bool keeps_all_touched = true;
};

// Does pieces of work, in any order or at the same time; returns when all are done.
using DoAll = std::function<void(const std::vector<std::function<void()>>& work)>;
void OneByOne(const std::vector<std::function<void()>>& work);

// `snapshot` and `catalog` are the state that entries up to `sequence` - 1 have made. `memory` is
// what applying entries left in it, the last of them `sequence` - 1, or empty; afterwards it is as
// of this entry. It changes nothing of the result. After an error it is of no use any more.
//
// The orders that it touches are worked on in shares by `do_all`, so that `snapshot` may be read by
// several threads.
//
// Orders, pages of cells and marks of orders no longer kept are read by GetAll and nothing else is;
// what the last entry touched of them is in `memory`, unless Applied says that it is not.
// LaggingSnapshot (lagging_snapshot.h) rests on this.
absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                              const FoldRules& rules, uint64_t sequence, const LogEntry& entry,
                              WritersMemory& memory, const DoAll& do_all = OneByOne);
inline absl::StatusOr<Applied> Apply(const Snapshot& snapshot, const Catalog& catalog,
                                     const FoldRules& rules, uint64_t sequence,
                                     const LogEntry& entry) {
  WritersMemory nothing(0);
  return Apply(snapshot, catalog, rules, sequence, entry, nothing);
}

// Takes up to `limit` orders after `format.refolded_through` from `format.rules` to
// `*format.next_rules`: the changes, with the new format record in the batch, and in `format` how
// far it came; when all are done next_rules has become rules.
absl::StatusOr<Batch> RefoldSome(const Snapshot& snapshot, const Catalog& catalog, size_t limit,
                                 Format& format);

// Pages of cells in kCells, or in kIndex those of orders no longer kept, as the present version
// writes them: up to `limit` from the key `from` on, which is then that of the next; none at the
// end.
absl::StatusOr<Batch> WritePagesAnew(const Snapshot& snapshot, Space space, size_t limit,
                                     std::string& from);

// Takes data of version 1 or 2, pages aside, to kFormatVersion: the changes, with the new format
// record in the batch, and `format` after them. Orders are kept and all that follows from them is
// counted anew, so that no version's way of counting need be remembered.
absl::StatusOr<Batch> UpgradeFormat(const Snapshot& snapshot, const Catalog& catalog,
                                    Format& format);

// Folds every stored order and compares with the stored cells, indexes, pairs, sends, counts and
// states of assignments: empty when all is equal, else the first difference in words. `told` is
// given the number of orders folded, now and then; false ends it with the error CANCELLED.
absl::StatusOr<std::string> FindDifference(const Snapshot& snapshot, const Catalog& catalog,
                                           const FoldRules& rules,
                                           const std::function<bool(int64_t)>& told = {});

}  // namespace plumblane
