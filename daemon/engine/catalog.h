// The small part of the state that is kept in memory: sources, excuses, pairs, what
// was agreed, open assignments, alerts told, progress.
//
// The writer changes its own copy and publishes it; a published catalog never changes.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>

#include "agreements/agreements.h"
#include "base/ids.h"
#include "base/time.h"
#include "cohorts/cell.h"
#include "engine/alerts_told.h"
#include "orders/excuse.h"
#include "storage/store.h"

namespace plumblane {

// What a source has told, as far as it can be taken back with a send.
struct SourceWord {
  bool sends_deliveries = false;
  std::optional<Instant> complete_through;
  std::optional<Instant> last_event;
  void Add(const SourceWord& other);
  bool operator==(const SourceWord&) const = default;
};

struct Source : SourceWord {
  bool periodic = false;  // complete up to complete_through only; else live
  bool retired = false;
  std::optional<SourceWord> outside;  // of it, outside any send; absent: all of it
  bool operator==(const Source&) const = default;

  // It holds back what may be called late.
  bool limits_news() const { return periodic && !retired && sends_deliveries; }
};

// The pairs that have at least one counting order part, findable from both sides.
struct PairDirectory {
  std::set<Pair> by_supplier;  // ordered by (supplier, lane)
  std::map<std::string, std::set<std::pair<Lane, std::string>>> by_destination;  // lane, supplier

  void Insert(const Pair& pair);
  void Erase(const Pair& pair);
};

// Assignments whose order part is not paid yet; they count against the supplier's monthly limit.
struct OpenAssignments {
  struct Open {
    std::string supplier;
    Instant time;
    bool operator==(const Open&) const = default;
  };
  std::map<std::pair<OrderKey, int>, Open> by_part;
  bool operator==(const OpenAssignments&) const = default;
};

struct Catalog {
  std::map<std::string, Source, std::less<>> sources;
  std::shared_ptr<const ExcuseBook> excuses = std::make_shared<ExcuseBook>();
  std::shared_ptr<const PairDirectory> pairs = std::make_shared<PairDirectory>();
  std::shared_ptr<const Agreements> agreements = std::make_shared<Agreements>();
  std::shared_ptr<const OpenAssignments> assignments = std::make_shared<OpenAssignments>();
  std::shared_ptr<const AlertsTold> alerts = std::make_shared<AlertsTold>();
  std::map<std::string, int64_t> delivered;  // by sink, the cursor of the last notice; never falls

  uint64_t log_sequence = 0;               // applied up to here
  std::optional<Instant> latest_event;     // the latest event time ever taken; never falls
  std::optional<Instant> history_through;  // the latest of any submission
  int64_t order_count = 0;                 // parts with at least one event
  int64_t event_count = 0;
  int64_t last_send = 0;  // the number of the latest
  // Orders that left (leaving.h), and the latest moment by which purged ones were over.
  int64_t purged_count = 0, erased_count = 0;
  std::optional<Instant> purged_before;

  // The earliest completeness over the sources that limit the news; none when no source does.
  std::optional<Instant> NewsHorizon() const;
};

// Reads the catalog from a store. Error DATA_LOSS: a record is malformed.
absl::StatusOr<Catalog> LoadCatalog(const Snapshot& snapshot);

}  // namespace plumblane
