#include "scoring/underway.h"

#include <algorithm>
#include <cassert>
#include <optional>
#include <span>

namespace plumblane {
namespace {

// Delays come from cells and may be large: 64 bits, so that no day number overflows.
struct Gone {
  std::optional<int64_t> closed;  // the day's number
  std::optional<Instant> lost;    // the horizon by which it is
};

Gone GoneOf(Day anchor, const Outcome& outcome) {
  if (outcome.code == Code::kClosed) return {anchor.number + int64_t{outcome.bucket}, {}};
  if (outcome.code != Code::kLost) return {};
  const int64_t closed = outcome.bucket & 0xFFFF;
  Gone gone{{}, EndOf(anchor) + int64_t{outcome.bucket >> 16} * kMillisPerDay};
  if (closed != kNeverClosed) gone.closed = anchor.number + closed;
  return gone;
}

struct UnderwaySums final : KeptSums {
  int64_t there = 0, excused_there = 0;  // the latter not among the former
  // The last day of a closing and the first horizon by which those are lost that are never closed:
  // from both on nothing that is stored changes what is there.
  int64_t closed_by = 0;
  Instant lost_by;
  size_t bytes() const override { return sizeof *this; }
};

// See AddUp (spans.h).
class UnderwaySum {
 public:
  using Sums = UnderwaySums;

  explicit UnderwaySum(const Moment& moment) : moment_(moment) {}

  bool MayHold(Day) const { return true; }
  bool Holds(const UnderwaySums& sums) const {
    return sums.closed_by <= moment_.underway_limit.number && sums.lost_by <= moment_.horizon;
  }
  void Count(std::span<const Cohort> cohorts, Day anchor) { Add(Make(cohorts, anchor)); }
  UnderwaySums Make(std::span<const Cohort> cohorts, Day) const {
    UnderwaySums sums;
    for (const Cohort& cohort : cohorts) {
      sums.there += StillThere(cohort.day, cohort.cell.counted, sums);
      sums.excused_there += StillThere(cohort.day, cohort.cell.excused, sums);
    }
    return sums;
  }
  void Add(const UnderwaySums& sums) {
    total_.there += sums.there;
    total_.excused_there += sums.excused_there;
    total_.closed_by = std::max(total_.closed_by, sums.closed_by);
    total_.lost_by = std::max(total_.lost_by, sums.lost_by);
  }
  void Decay(int32_t) {}
  const UnderwaySums& Total() const { return total_; }

 private:
  int64_t StillThere(Day day, const Tally& tally, UnderwaySums& sums) const {
    int64_t there = tally.entered;
    for (const Outcome& outcome : tally.outcomes) {
      const Gone gone = GoneOf(day, outcome);
      if ((gone.closed && *gone.closed <= moment_.underway_limit.number) ||
          (gone.lost && *gone.lost <= moment_.horizon)) {
        there -= outcome.count;
      }
      // One that is lost and closed is gone by either; when both are over, nothing changes.
      if (gone.closed) sums.closed_by = std::max(sums.closed_by, *gone.closed);
      if (gone.lost && !gone.closed) sums.lost_by = std::max(sums.lost_by, *gone.lost);
    }
    assert(there >= 0);  // more outcomes than entries: a bug, not a figure
    return there;
  }

  const Moment& moment_;
  UnderwaySums total_;
};

// REQUIRES: none of the cohorts is of a day after the moment's limit.
int64_t CountThere(std::span<const Cohort> cohorts, Measure measure, Scope scope,
                   const Moment& moment, KeptSpans* kept) {
  if (cohorts.empty()) return 0;
  UnderwaySum sum(moment);
  AddUp(cohorts, cohorts.back().day, measure, {}, kept, sum);
  return sum.Total().there + (scope == Scope::kWithExcused ? sum.Total().excused_there : 0);
}

}  // namespace

int64_t UnderwayCount(const Series& underway, Scope scope, const Moment& moment, KeptSpans* kept) {
  const auto end = std::partition_point(underway.begin(), underway.end(), [&](const Cohort& one) {
    return one.day <= moment.underway_limit;
  });
  return CountThere({underway.begin(), end}, Measure::kUnderway, scope, moment, kept);
}

int64_t OverdueCount(const Series& overdue, Scope scope, const Moment& moment, KeptSpans* kept) {
  const auto end = std::partition_point(overdue.begin(), overdue.end(), [&](const Cohort& one) {
    return one.day <= moment.underway_limit && EndOf(one.day) <= moment.horizon;
  });
  return CountThere({overdue.begin(), end}, Measure::kOverdue, scope, moment, kept);
}

}  // namespace plumblane
