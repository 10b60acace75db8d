// What spans of 32 days add to a curve of times, and the memory of it.
//
// A curve needs of old cohorts only how much weight leaves in each bucket. Within a span that is
// known relative to the span's end, whose weight is one factor for all of it (decay.h): so the sums
// of a span whose outcomes are all known serve every later moment, and a score goes through some
// twelve of them for a year, with as many numbers each as buckets in use, however many orders
// there are.
//
// Sums kept and sums made anew are equal bit by bit: they add up the same outcomes by the same
// weights in the same order. So does an earlier moment to which some of a span's outcomes are not
// known: it adds up those that are.
#pragma once

#include <array>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "scoring/curve.h"
#include "scoring/decay.h"
#include "scoring/moment.h"

namespace plumblane {

inline constexpr int32_t kSpanDays = 32;

// Spans are whole multiples of their days since 1970, so that they do not depend on where a series
// begins.
constexpr int32_t SpanOf(Day day) { return day.number / kSpanDays; }
constexpr Day LastDayOf(int32_t span) { return {(span + 1) * kSpanDays - 1}; }

// The outcomes of the cohorts of one span, in one measure and scope.
struct SpanSums {
  int32_t span = 0;
  std::vector<WeightLeft> left;  // ascending by bucket; weights relative to SumSpan's anchor
  struct Unknown {
    Day day;
    int64_t count = 0;  // > 0: its orders without an outcome
  };
  std::vector<Unknown> unknown;  // ascending by day
  int64_t entered_count = 0, finished_count = 0;
  int64_t fault_count = 0;          // in whatever scope
  std::optional<uint32_t> longest;  // the last bucket with an outcome
  bool all_known = true;            // no cell holds an outcome that is not known
  Instant known_from;               // the first horizon by which all of its outcomes are known

  size_t bytes() const;
};

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

// As known at `moment`, but for `left`, which goes into `risk` as weights relative to `anchor`;
// `finish` is the outcome, kLeft the other way to leave.
// REQUIRES: `cohorts` ascending, of one span, not empty, all Watched; none later than `anchor`;
// `risk` empty, of all buckets.
SpanSums SumSpan(std::span<const Cohort> cohorts, Code finish, Scope scope, Day anchor,
                 const DayWeights& weights, const Moment& moment, RiskSet& risk);

// The sums of spans of one pair, in Scope::kCounted and for the half-life asked last, of as many
// spans as were asked about. Belongs to one state of the pair's cells: who changes them, copies it
// first when somebody else may be reading, and forgets the days changed.
//
// Thread-safe, but for Forget.
class KeptSpans {
 public:
  using Sums = std::shared_ptr<const SpanSums>;

  KeptSpans() = default;
  KeptSpans(const KeptSpans& other);
  KeptSpans& operator=(const KeptSpans&) = delete;

  // Ascending by span.
  std::vector<Sums> Of(Measure measure, double half_life_days) const;
  // REQUIRES: ascending, `all_known`, each anchored on the last day of its span.
  void Keep(Measure measure, double half_life_days, std::vector<Sums> sums);
  void Forget(Measure measure, Day day);

  size_t bytes() const;

 private:
  mutable std::mutex mutex_;
  double half_life_days_ = 0;
  size_t bytes_ = sizeof(KeptSpans);
  std::array<std::vector<Sums>, kMeasureCount> kept_;
};

}  // namespace plumblane
