// The fold: from the set of an order's events to its state and to the cohort entries it makes.
//
// The result depends on the set alone: any permutation, duplication or split into batches of the
// same events gives the same state and the same entries.
//
// Which events are in effect:
//  1. Of one source's events for one part that carry a revision, only those of the latest revision
//     (what is kept of older ones: tellings.h).
//  2. Not those named by a retraction that is itself in effect by rule 1 (same part and source).
//     A retraction cannot be retracted.
// Facts (supplier, lane, promise, amounts) come each from the earliest event in effect, by (time,
// source, event_id), that states it. Of a type the first event gives the time.
//
// A part counts once its supplier and both lane ends are known; handling, delivery, money and
// underway also need `paid`; on_time, defect and overdue a counted promise.
//  - Promise: the first given by event time, an explicit one before an implied one. One that lies
//    before its own event is shown, not counted, and no other replaces it. The deadline is the
//    promise plus the tolerance; the promised day is the UTC day of the deadline.
//  - Early cancellation: the first `cancelled`, with no shipped or delivered at an earlier time.
//    Not after the deadline, and not for out_of_stock, late or not_received: withdrawn from
//    on_time. It makes the order `left` in defect (whole days after the promised day, at least 0),
//    delivery and, unless for out_of_stock, handling.
//  - Handling: delivered with no shipped in effect is `left` at delivered - paid. The first of
//    outcome and `left` counts, at equal time the outcome. After shipping only delivery ends
//    transit and delivery.
//  - Defect: the first disputed or refunded with a defect reason, against `lost` at lost_after
//    days while undelivered by then, against `left`; the smallest delay wins, ties in that order.
//    Loss is written ahead: readers see it once its day is over.
//  - Response: from the first disputed to the first answered or supplier's refund at or after it.
//  - Excused (in on_time, defect, transit, delivery): any dispute or refund for wrong_address or
//    refused, or an excuse that covers it.
//  - A duration below zero takes the order out of that measure and counts as a fault there.
//  - A part that replaces another adds its cost to the money of the part it replaces in the end; it
//    is then in no comparison of what was charged with what was quoted, but in exposure by itself.
//  - Exposure: while paid and not closed, however long ago; readers leave out what was given up.
//
// Pure and thread-safe.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "cohorts/cell.h"
#include "orders/event.h"
#include "orders/excuse.h"

namespace plumblane {

// Rules that shape the fold. They are stored with the data; changing one folds every order again.
struct FoldRules {
  int lost_after_days = 30;      // undelivered this many days after the promised day = lost
  int64_t tolerance_millis = 0;  // delivered within this after the promise is on time
  bool operator==(const FoldRules&) const = default;
};

// Why an event of the order has no effect.
enum class Ignored : uint8_t { kNo, kRetracted, kOlderRevision };

// A contradiction among the events of a part: taken, counted and said, never order-dependent.
enum class Fault : uint8_t {
  kShippedBeforePaid,
  kDeliveredBeforePaid,
  kDeliveredBeforeShipped,
  kCancelledBeforePaid,
  kDeliveredAfterCancelled,
  kAnsweredUndisputed,
  kOtherSupplier,
  kOtherLane,
  kPromiseAfterTheFact,
  kRetractsRetraction,
  kReplacesUnknownPart,
};
std::string_view Describe(Fault fault);

struct Promise {
  Instant time;
  bool implied = false;
  bool counted = true;  // false: given only after its own moment
  bool operator==(const Promise&) const = default;
};

// What is known of one part.
struct PartState {
  int part = 1;
  std::string supplier;
  Lane lane;  // ends may be empty while unknown
  std::optional<Promise> promise;
  std::optional<Instant> deadline;  // the promise plus the tolerance; set when the promise counts
  std::optional<Day> promised_day;  // the day of the deadline
  std::optional<Instant> paid, shipped, delivered, disputed, answered, cancelled;
  Reason dispute_reason = Reason::kNone, cancel_reason = Reason::kNone;
  std::optional<Instant> refunded_by_supplier;  // the first
  // The first disputed or refunded for a defect, and its kind.
  std::optional<std::pair<Instant, Code>> defect;
  std::optional<Money> cost, quoted, sale, claim;
  std::map<std::string, int64_t> refunds_by_supplier, refunds_by_shop;  // minor units by currency
  std::string item;
  std::string supplier_item;  // what was sent instead, the supplier's code for it; "" = it was sent
  std::optional<int64_t> units;
  int replaces = 0;
  std::vector<std::string> tracking;  // sorted, all that were named
  std::string excuse;                 // why it is excused; "" = it is not
  ExcuseKind excuse_kind = ExcuseKind::kNone;
  bool withdrawn = false;      // from on_time
  std::vector<Fault> faults;   // sorted, each once
  std::vector<Entry> entries;  // what it adds to the cohorts of its pair

  Pair pair() const { return {supplier, lane}; }
  // Supplier and both ends are known.
  bool counts() const {
    return !supplier.empty() && !lane.origin.empty() && !lane.destination.empty();
  }
  bool operator==(const PartState&) const = default;
};

struct OrderState {
  std::vector<PartState> parts;  // ascending by part
  bool operator==(const OrderState&) const = default;
};

// REQUIRES: `events` sorted by Earlier() within the order, as Tell() keeps them (tellings.h).
OrderState Fold(const OrderKey& order, const std::vector<Event>& events, const FoldRules& rules,
                const ExcuseBook& excuses);

// For each event, whether and why it has no effect; same order as `events`.
std::vector<Ignored> EventsInEffect(const std::vector<Event>& events);

}  // namespace plumblane
