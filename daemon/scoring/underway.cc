#include "scoring/underway.h"

#include <algorithm>
#include <cassert>
#include <memory>
#include <span>

namespace plumblane {
namespace {

bool IsGone(Day anchor, const Outcome& outcome, const Moment& moment) {
  // Delays come from cells and may be large: 64 bits, so that no day number overflows.
  const int64_t limit = moment.underway_limit - anchor;
  if (outcome.code == Code::kClosed) return outcome.bucket <= limit;
  if (outcome.code != Code::kLost) return false;
  const int64_t lost = outcome.bucket >> 16;
  const int64_t closed = outcome.bucket & 0xFFFF;
  if (closed != kNeverClosed && closed <= limit) return true;
  return lost * kMillisPerDay <= moment.horizon - EndOf(anchor);
}

int64_t StillThere(const Cohort& cohort, Scope scope, const Moment& moment) {
  int64_t there = 0;
  VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
    int64_t left = tally.entered;
    for (const Outcome& outcome : tally.outcomes) {
      if (IsGone(cohort.day, outcome, moment)) left -= outcome.count;
    }
    assert(left >= 0);  // more outcomes than entries: a bug, not a figure
    there += left;
  });
  return there;
}

// What is there once all that is stored of the span holds: at moments that are no earlier than
// both `closed_by` and `lost_by`.
struct UnderwaySpan final : KeptSpan {
  int64_t there = 0;
  int64_t closed_by = 0;  // the last day of a closing
  Instant lost_by;        // the first horizon by which those are lost that are never closed
  size_t bytes() const override { return sizeof *this; }
  bool HoldsAt(const Moment& moment) const {
    return closed_by <= moment.underway_limit.number && lost_by <= moment.horizon;
  }
};

UnderwaySpan InTheEnd(std::span<const Cohort> cohorts, Scope scope) {
  UnderwaySpan sums;
  sums.span = SpanOf(cohorts.front().day);
  for (const Cohort& cohort : cohorts) {
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      sums.there += tally.entered;
      for (const Outcome& outcome : tally.outcomes) {
        const bool lost = outcome.code == Code::kLost;
        if (!lost && outcome.code != Code::kClosed) continue;
        sums.there -= outcome.count;
        const int64_t closed = lost ? outcome.bucket & 0xFFFF : outcome.bucket;
        if (lost && closed == kNeverClosed) {
          sums.lost_by = std::max(
              sums.lost_by, EndOf(cohort.day) + int64_t{outcome.bucket >> 16} * kMillisPerDay);
        } else {
          sums.closed_by = std::max(sums.closed_by, cohort.day.number + closed);
        }
      }
    });
  }
  return sums;
}

// REQUIRES: none of the cohorts is of a day after the moment's limit.
int64_t CountThere(std::span<const Cohort> cohorts, Measure measure, Scope scope,
                   const Moment& moment, KeptSpans* kept) {
  int64_t count = 0;
  if (cohorts.empty()) return count;
  VisitSpans<UnderwaySpan>(
      cohorts, cohorts.back().day, measure, KeptSpans::kNoHalfLife, kept,
      [&](std::span<const Cohort> span, Day, bool whole, const UnderwaySpan* known) {
        std::shared_ptr<const UnderwaySpan> made;
        if (kept && whole && !known) {
          made = std::make_shared<const UnderwaySpan>(InTheEnd(span, scope));
          known = made.get();
        }
        if (known && known->HoldsAt(moment)) {
          count += known->there;
        } else {
          for (const Cohort& cohort : span) count += StillThere(cohort, scope, moment);
        }
        return made;
      });
  return count;
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
