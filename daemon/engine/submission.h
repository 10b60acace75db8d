// What goes into the engine and what comes back. Plain values.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "agreements/agreements.h"
#include "agreements/assignment.h"
#include "base/ids.h"
#include "base/time.h"
#include "engine/alerts_told.h"
#include "engine/event_list.h"
#include "orders/excuse.h"

namespace plumblane {

// What a source says of itself.
struct SourceNews {
  struct Live {
    bool operator==(const Live&) const = default;
  };
  struct Retired {
    bool operator==(const Retired&) const = default;
  };
  std::string source;
  // An Instant: periodic and complete up to then.
  std::variant<Instant, Live, Retired> news;
  int64_t send = 0;  // the send that says it; 0 = none
  bool operator==(const SourceNews&) const = default;
};

// Notices of alerts up to the cursor are no longer to be sent on this way out.
struct Delivered {
  std::string sink;
  int64_t cursor = 0;
  bool operator==(const Delivered&) const = default;
};

// A send that begins: what is to be remembered of where it comes from.
struct SendBegun {
  std::vector<std::string> files;
  std::string shop, source;  // of events that name none
  // That it has already, from another partition (split.h); 0 = it gets the next. One that is known
  // by its number does not begin again.
  int64_t number = 0;
  bool operator==(const SendBegun&) const = default;
};

// A send that has told all it had.
struct SendFinished {
  int64_t number = 0;
  int64_t rejected = 0;  // lines that were not taken, by its own count
  bool operator==(const SendFinished&) const = default;
};

// Orders to let go, because they were over before a moment: leaving.h.
struct Purge {
  Instant before;
  int claim_window_days = 0;
  std::vector<OrderKey> orders;
};

// A step of taking a supplier out: erased_supplier.h.
struct ErasedSupplier {
  std::string supplier;
  std::vector<OrderKey> assigned;  // with assignments that name it
  bool rest = false;               // the last step: all but orders and assignments
};

// What one sender hands in at a time; all of it is already checked to be right in itself.
struct Submission {
  EventList events;
  std::vector<SourceNews> news;
  std::vector<Excuse> excuses = {};
  std::vector<AgreementLoad> agreements = {};
  std::vector<Assignment> assignments = {};
  std::vector<AlertNotice> alert_notices = {};
  std::vector<Delivered> deliveries = {};
  // Up to here all is past: IsQuiet (alerts_told.h).
  std::optional<Instant> history_through = {};
  // Events name their send in their telling.
  std::vector<SendBegun> sends_begun = {};
  std::vector<SendFinished> sends_finished = {};
  // Sends to take back: one step of each (sends.h).
  std::vector<int64_t> sends_taken_back = {};
  std::vector<Purge> purges = {};
  std::vector<OrderKey> erased = {};  // orders
  std::vector<ErasedSupplier> erased_suppliers = {};
  bool empty() const {
    return events.empty() && news.empty() && excuses.empty() && agreements.empty() &&
           assignments.empty() && alert_notices.empty() && deliveries.empty() && !history_through &&
           sends_begun.empty() && sends_finished.empty() && sends_taken_back.empty() && !lets_go();
  }
  // Something is to be in the log no more.
  bool lets_go() const { return !purges.empty() || !erased.empty() || !erased_suppliers.empty(); }
  bool changes_orders_otherwise() const {  // than by events
    return !excuses.empty() || !sends_taken_back.empty() || lets_go();
  }
};

// Appends what `from` has to `to`.
void MoveContent(Submission&& from, Submission& to);

// What became of one event.
struct EventFate {
  enum class Kind : uint8_t {
    kAccepted,
    kDuplicate,      // known, same content: nothing changed
    kContradiction,  // accepted; it brought a fault into its order
    kConflict,       // the id is known with other content: the first stays
    kOrderFull,      // the order holds kMaxEventsPerOrder: not taken
    kWaiting,        // accepted: a retraction of an event not yet seen
    kNoSend,         // its send was taken back, or never begun: not taken
    kNotKept,        // its order was purged or erased: not taken
  };
  Kind kind = Kind::kAccepted;
  std::string message;  // contradictions, in words
};

// How a submission changed the number of order parts known, of those waiting for a supplier or
// lane, and of those that count but have no promise.
struct StandingDelta {
  int64_t orders = 0, waiting = 0, unpromised = 0;
  StandingDelta& operator+=(const StandingDelta& other) {
    orders += other.orders;
    waiting += other.waiting;
    unpromised += other.unpromised;
    return *this;
  }
  bool operator==(const StandingDelta&) const = default;
};

struct Receipt {
  // UNAVAILABLE: the outcome is unknown, send again; nothing below is set.
  absl::Status status;
  uint64_t log_sequence = 0;
  std::vector<EventFate> fates;  // one for each event
  StandingDelta standing;
  std::vector<int64_t> sends = {};  // the numbers of those begun
};

}  // namespace plumblane
