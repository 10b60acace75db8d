#include "scoring/underway.h"

#include <cassert>

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

}  // namespace

int64_t UnderwayCount(const Series& underway, Scope scope, const Moment& moment) {
  int64_t count = 0;
  for (const Cohort& cohort : underway) {
    if (cohort.day > moment.underway_limit) break;
    count += StillThere(cohort, scope, moment);
  }
  return count;
}

int64_t OverdueCount(const Series& overdue, Scope scope, const Moment& moment) {
  int64_t count = 0;
  for (const Cohort& cohort : overdue) {
    if (cohort.day > moment.underway_limit || EndOf(cohort.day) > moment.horizon) break;
    count += StillThere(cohort, scope, moment);
  }
  return count;
}

}  // namespace plumblane
