// How one order part stands: overdue or given up at some moment, and what there is to claim from
// its supplier by what its events say.
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <optional>

#include "base/money.h"
#include "base/time.h"
#include "orders/fold.h"

namespace plumblane {

// Its promised day (its paid day, when that is later) is over by the horizon; false without a
// promise. The same days as scoring/underway.h counts by. REQUIRES: part.paid.
bool IsOverdue(const PartState& part, Instant horizon);

// Undelivered for so long that it counts as lost. REQUIRES: part.paid, and it is not delivered.
bool IsGivenUp(const PartState& part, const FoldRules& rules, Instant horizon);

// A refund by the supplier at or after the dispute is an answer.
enum class ClaimStanding : uint8_t {
  kNone,       // nothing known to claim
  kUnclaimed,  // something to claim (Unclaimed), and the supplier was not told
  kUnanswered,
  kOwed,     // answered, and more was claimed than has come back
  kSettled,  // answered, or the claim came back in full
};

// REQUIRES: part.counts().
ClaimStanding ClaimStandingOf(const PartState& part);

// The claim less what the supplier refunded in its currency, not below 0; none without a claim.
std::optional<Money> OwedBySupplier(const PartState& part);

// Something to claim that was neither put to the supplier nor refunded by it, of an order that was
// not cancelled: delivered late and not excused, or refunded by the shop for a defect. The reason
// is the defect, else late; the day is the one that claim days count from: of delivery, else the
// promised day, else the day of the shop's refund.
struct Unclaimed {
  Reason reason = Reason::kLate;
  Day since;
  bool operator==(const Unclaimed&) const = default;
};
std::optional<Unclaimed> UnclaimedOf(const PartState& part);

}  // namespace plumblane
