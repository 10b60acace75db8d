// What is set of an engine.
#pragma once

#include <absl/status/status.h>

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>

#include "engine/arriving_state.h"
#include "engine/at_once.h"
#include "engine/cell_changes.h"
#include "engine/view.h"

namespace plumblane {

enum class ClockMode {
  kWall,
  kEvents,  // now = the latest event time ever taken
};

struct EngineOptions {
  ReadRules rules;
  ClockMode clock_mode = ClockMode::kWall;
  // Submissions are refused with "no room" while this many events wait.
  size_t queue_events = 64'000;
  // One log entry holds about this many events at the most, and fewer where so many change more
  // than this many records: of many pairs each event changes some of its own, and all that an entry
  // changes is in memory until it is written.
  size_t entry_events = 32'000;
  size_t entry_changes = 100'000;
  // Orders folded at a time when the fold rules changed.
  size_t refold_orders = 10'000;
  // Decoded cells kept in memory.
  size_t series_bytes = 256 << 20;
  // Decoded orders and pages of cells that the writer keeps.
  size_t writer_bytes = 128 << 20;
  // Entries that stay in the log after they were applied. Where they reach back to the first, audit
  // applies them all again (verify.h).
  uint64_t kept_entries = 16;
  // Of the log, when it has several: that of this engine (partitions.h).
  uint32_t partition = 0;
  // Of several engines so many make an entry at once, each whole: logged, applied, written and
  // answered. None: this one is alone, and writes an entry while it applies the next.
  std::shared_ptr<AtOnce> at_once;
  // Given each state that is to be seen, and what the last entry added to the cells; then the
  // engine keeps nothing in memory for its own views. Called in turn, before any answer.
  std::function<void(const std::shared_ptr<const Snapshot>&, const std::shared_ptr<const Catalog>&,
                     const CellChanges&)>
      published;
  // Of a shared log: entries are applied only while this engine owns the log, or is about to. Where
  // the log does not go back to what it has, the state comes by `fetch_state` from another daemon,
  // and `replaced` is given what is to be seen then, instead of `published`.
  bool only_owned = false;
  std::function<absl::Status(uint32_t partition, ArrivingState& to)> fetch_state;
  std::function<void(const std::shared_ptr<const Snapshot>&, const std::shared_ptr<const Catalog>&)>
      replaced;
  // Called when a shared log cannot be followed any more, for good.
  std::function<void(const absl::Status&)> lost_the_log = [](const absl::Status&) {};
  // Given the hash of all stored cells as of every so many entries, by a thread of its own, so that
  // daemons that share a log can compare; none = not counted.
  std::function<void(uint32_t partition, uint64_t sequence, uint64_t hash)> compare_cells;
  uint64_t compare_entries = 10'000;
};

}  // namespace plumblane
