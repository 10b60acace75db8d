#include "orders/standing.h"

#include <algorithm>

namespace plumblane {

bool IsOverdue(const PartState& part, Instant horizon) {
  return part.promised_day && EndOf(std::max(*part.promised_day, DayOf(*part.paid))) <= horizon;
}

bool IsGivenUp(const PartState& part, const FoldRules& rules, Instant horizon) {
  if (!part.promised_day) return false;
  const Day lost = *part.promised_day + rules.lost_after_days;
  return EndOf(std::max(lost, DayOf(*part.paid))) <= horizon;
}

std::optional<Money> OwedBySupplier(const PartState& part) {
  if (!part.claim) return std::nullopt;
  const auto refunded = part.refunds_by_supplier.find(part.claim->currency);
  const int64_t back = refunded == part.refunds_by_supplier.end() ? 0 : refunded->second;
  return Money{std::max<int64_t>(0, part.claim->minor_units - back), part.claim->currency};
}

std::optional<Unclaimed> UnclaimedOf(const PartState& part) {
  if (part.disputed || part.refunded_by_supplier || part.cancelled) return std::nullopt;
  const bool late = part.deadline && part.delivered && *part.deadline < *part.delivered;
  if (!part.defect && !(late && part.excuse.empty())) return std::nullopt;
  Unclaimed unclaimed;
  if (part.defect) unclaimed.reason = *ReasonNamed(NameOfKind(part.defect->second));
  unclaimed.since = part.delivered      ? DayOf(*part.delivered)
                    : part.promised_day ? *part.promised_day
                                        : DayOf(part.defect->first);
  return unclaimed;
}

ClaimStanding ClaimStandingOf(const PartState& part) {
  if (!part.disputed) {
    return UnclaimedOf(part) ? ClaimStanding::kUnclaimed : ClaimStanding::kNone;
  }
  const std::optional<Money> owed = OwedBySupplier(part);
  if (owed && owed->minor_units == 0) return ClaimStanding::kSettled;
  if (!part.answered) return ClaimStanding::kUnanswered;
  return owed ? ClaimStanding::kOwed : ClaimStanding::kSettled;
}

}  // namespace plumblane
