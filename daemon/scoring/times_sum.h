// Who of a series left in which bucket and who has not, added up span by span (spans.h): what the
// curve of times.h is made of.
//
// Pure. One instance belongs to the thread that made it.
#pragma once

#include <cassert>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "cohorts/buckets.h"
#include "cohorts/cell.h"
#include "scoring/curve.h"
#include "scoring/decay.h"
#include "scoring/moment.h"
#include "scoring/spans.h"
#include "scoring/times.h"

namespace plumblane {

// Calls `visit` with each outcome of the tally, `finish` or kLeft, in the first so many buckets.
struct NotVisited {
  int64_t orders = 0;     // those without such an outcome
  bool outcomes = false;  // some were in later buckets
};
template <typename Visit>
NotVisited VisitKnown(const Tally& tally, Code finish, uint32_t buckets, const Visit& visit) {
  NotVisited rest{tally.entered, false};
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code != finish && outcome.code != Code::kLeft) continue;
    if (outcome.bucket >= buckets) {
      rest.outcomes = true;
      continue;
    }
    rest.orders -= outcome.count;
    visit(outcome);
  }
  assert(rest.orders >= 0);  // more outcomes than entries: a bug, not a figure
  return rest;
}

// Orders kept out of the cell's measure because its duration would be below zero, excused or not.
int64_t FaultsIn(const Cell& cell);

// In one measure and scope, as known at a moment.
struct TimesSums final : KeptSums {
  std::vector<WeightLeft> left;  // ascending by bucket
  struct Unknown {
    Day day;
    int64_t count = 0;  // > 0: its orders without an outcome
  };
  std::vector<Unknown> unknown;  // ascending by day
  int64_t entered_count = 0, finished_count = 0;
  double entered_weight = 0;
  int64_t fault_count = 0;          // in whatever scope
  std::optional<uint32_t> longest;  // the last bucket with an outcome
  Instant known_from;  // the first horizon by which all outcomes are known; never, if later than
                       // the moment
  size_t bytes() const override;
};

// See AddUp (spans.h); `finish` is the outcome, kLeft the other way to leave. The cohorts are
// Watched at the moment.
class TimesSum {
 public:
  using Sums = TimesSums;

  // All but `half_life_days` must outlive it.
  TimesSum(Code finish, Scope scope, const Moment& moment, double half_life_days)
      : finish_(finish), scope_(scope), moment_(moment), weights_(half_life_days) {}

  bool MayHold(Day) const { return true; }
  bool Holds(const TimesSums& sums) const { return sums.known_from <= moment_.horizon; }
  void Count(std::span<const Cohort> cohorts, Day anchor) { Count(cohorts, anchor, risk_, rest_); }
  TimesSums Make(std::span<const Cohort> cohorts, Day anchor);
  void Add(const TimesSums& sums);
  void Decay(int32_t days);
  TimesSums Total() const;

  // Adds all of it to `sum`, of weights relative to the same day. Nothing is left here.
  void MoveInto(TimesSum& sum);

  // Of all that was added, with weights relative to `newest`. Nothing is left here.
  TimesCurve CurveOn(Day newest);

 private:
  void Count(std::span<const Cohort> cohorts, Day anchor, RiskSet& risk, TimesSums& rest) const;
  void AddRest(const TimesSums& sums);  // all but `left`

  const Code finish_;
  const Scope scope_;
  const Moment& moment_;
  const DayWeights weights_;
  RiskSet risk_{kLastBucket + 1}, span_{kLastBucket + 1};
  TimesSums rest_;  // without `left`
};

}  // namespace plumblane
