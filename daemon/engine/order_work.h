// Taking the events of one entry into the orders that it touches: a share of them at a time.
//
// No order bears on another, so shares may be worked on at the same time, each with what the writer
// keeps of its orders alone. What they come to is added up afterwards and does not depend on which
// was first. Private to engine/.
#pragma once

#include <absl/container/flat_hash_map.h>
#include <absl/container/inlined_vector.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/assignment_changes.h"
#include "engine/catalog.h"
#include "engine/changes.h"
#include "engine/kept.h"
#include "engine/leaving.h"
#include "engine/sends.h"
#include "engine/submission.h"
#include "orders/fold.h"
#include "storage/store.h"

namespace plumblane {

// An order to fold again.
struct TouchedOrder {
  OrderKey order;
  std::string key;                        // of its record
  absl::InlinedVector<size_t, 2> events;  // of the entry
};

// Each once. Not thread-safe.
class TouchedOrders {
 public:
  TouchedOrder& Touch(const OrderKey& order);
  // By their keys.
  std::vector<TouchedOrder*> Sorted();

 private:
  using Name = std::pair<std::string_view, std::string_view>;  // shop and id

  std::deque<TouchedOrder> all_;
  absl::flat_hash_map<Name, TouchedOrder*> by_name_;
};

// What all shares read of an entry and of the state before it; nothing of it changes meanwhile.
struct OrderTask {
  const Snapshot& snapshot;
  const FoldRules& rules;
  const Catalog& catalog;  // before the entry, but with its excuses
  const ExcuseBook& excuses_before;
  const SendLedger& sends;
  const Leaving& leaving;
  const std::map<OrderKey, std::vector<int64_t>>& taken_back;  // sends to take out of these orders
  bool keeps_unchanged_payments = false;
  const std::vector<const OrderEvent*>& events;
  // One for each event. A share writes those of its orders.
  std::vector<EventFate>& fates;
  std::vector<StandingDelta>& standings;
};

struct OrderResults {
  Changes changes;
  Payments payments;
  Batch batch;  // records of orders and the index of their sends, sorted within each space
  int64_t order_count = 0, event_count = 0;  // by how much they change
  struct Word {
    std::optional<SourceWord> outside, by_sends;
  };
  std::map<std::string, Word> words;                      // what was new of each source
  std::optional<Instant> latest_event;                    // among them
  std::vector<OrderKey> left, not_kept;                   // the first are among the second
  std::vector<std::pair<int64_t, TakenBack>> taken_back;  // of sends
};

// Of the orders of a share: `events` are the places of its events in those of the task; `touched`
// has its orders touched by other means than events; `memory` what was kept of them, and is
// afterwards as of this entry. Errors: those of the store, DATA_LOSS.
absl::StatusOr<OrderResults> TakeOrders(const OrderTask& task, const std::vector<size_t>& events,
                                        TouchedOrders touched, Kept<KnownOrder>& memory);

}  // namespace plumblane
