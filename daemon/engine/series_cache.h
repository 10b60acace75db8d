// Decoded cells of the pairs asked about lately, kept as entries change them, and the sums that
// scores made of them (scoring/spans.h). A cache of the store: with or without it every answer is
// the same.
//
// Reading a pair from the store costs a millisecond for a year of orders; from here nothing, or
// adding what was changed since it was last read, if that is little. What does not fit is read
// again.
//
// Thread-safe: writers note changes in turn and settle them, any thread reads.
#pragma once

#include <absl/container/flat_hash_map.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <list>
#include <memory>
#include <mutex>
#include <span>
#include <utility>
#include <vector>

#include "cohorts/cell.h"
#include "engine/cell_changes.h"
#include "engine/pair_hash.h"
#include "scoring/score.h"
#include "storage/store.h"

namespace plumblane {

// From the store, where measures lie in the order of their numbers: those up to and including
// `last`, the others stay empty. Who reads many pairs does it with one scanner of kCells.
absl::StatusOr<MeasureSet> ReadPair(const Snapshot& snapshot, const Pair& pair, Measure last);
absl::StatusOr<MeasureSet> ReadPair(const Snapshot::Scanner& cells, const Pair& pair, Measure last);

class SeriesCache {
 public:
  explicit SeriesCache(size_t max_bytes) : max_bytes_(max_bytes) {}

  // The cells of `pair` in `snapshot`, which holds what entries up to `sequence` have made.
  absl::StatusOr<std::shared_ptr<const MeasureSet>> Read(const Snapshot& snapshot,
                                                         uint64_t sequence, const Pair& pair);

  // As Read, but only what is kept already; null otherwise.
  std::shared_ptr<const MeasureSet> Peek(uint64_t sequence, const Pair& pair);

  // As Read, of the measures up to and including `last`, but leaves what is kept as it is, for who
  // still looks at an earlier state.
  absl::StatusOr<std::shared_ptr<const MeasureSet>> ReadAside(const Snapshot& snapshot,
                                                              uint64_t sequence, const Pair& pair,
                                                              Measure last);

  // What entry `sequence` changed. Called in the order of sequences, each before anybody can read
  // with it.
  void Note(uint64_t sequence, const CellChanges& changes);

  // Adds up what was noted of pairs of which that is much, so that nobody who asks has to. Called
  // once the last entry noted can be read; cells that are being added up are read from the store.
  void Settle();

  size_t bytes() const;

 private:
  // Of one pair only: an entry's changes of all pairs are large, and some pairs wait long.
  struct Change {
    uint64_t sequence;
    std::vector<std::pair<Measure, Series>> series;
    size_t bytes;
  };
  using Changes = std::vector<std::shared_ptr<const Change>>;
  struct Record {
    Pair pair;
    std::shared_ptr<MeasureSet> measures;  // null while it is being read or added up
    uint64_t through = 0;                  // with what entries up to here have made
    Changes waiting;                       // later ones, ascending
    size_t bytes = 0;                      // with what waits
    size_t span_bytes = 0;                 // sums that were kept when it was last asked for
  };
  using Records = std::list<std::shared_ptr<Record>>;

  struct Difference {
    size_t before = 0, after = 0;  // bytes of all that changes
  };

  std::shared_ptr<const MeasureSet> Find(uint64_t sequence, const Pair& pair);
  void CatchUp(Record& record, uint64_t sequence);
  static Difference Add(std::span<const std::shared_ptr<const Change>> changes,
                        std::shared_ptr<MeasureSet>& measures);
  void Weigh(Record& record, const Difference& made);
  void WeighSpans(Record& record);
  void MakeRoom();

  const size_t max_bytes_;
  mutable std::mutex mutex_;
  Records records_;  // latest asked first
  absl::flat_hash_map<Pair, Records::iterator, PairHash> by_pair_;
  std::vector<Pair> behind_;  // much of them waits
  uint64_t noted_ = 0;
  size_t bytes_ = 0;
};

}  // namespace plumblane
