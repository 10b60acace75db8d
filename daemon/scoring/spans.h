// Sums over spans of 32 days, what one of them adds to a curve of times, and the memory of them.
//
// A score needs of old cohorts only sums: how many orders, how much weight, and how much of it
// leaves in each bucket. Within a span weights are known relative to the span's end, whose own
// weight is one factor for all of it (decay.h): so the sums of a span of which all is known serve
// every later moment, and a score goes through some twelve of them for a year, however many orders
// there are.
//
// Sums kept and sums made anew are equal bit by bit: they add up the same outcomes by the same
// weights in the same order. So does an earlier moment to which some of a span's outcomes are not
// known: it adds up those that are.
#pragma once

#include <algorithm>
#include <array>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <utility>
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

// What the cohorts of one span come to. Each measure has a kind of its own.
struct KeptSpan {
  int32_t span = 0;
  virtual ~KeptSpan() = default;
  virtual size_t bytes() const = 0;
};

// Of times: the outcomes in one measure and scope.
struct SpanSums final : KeptSpan {
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

  size_t bytes() const override;
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

// The sums of whole spans of one pair, in Scope::kCounted, of each measure for the half-life asked
// last and of as many spans as were asked about. Belongs to one state of the pair's cells: who
// changes them, copies it first when somebody else may be reading, and forgets the days changed.
//
// Thread-safe, but for Forget.
class KeptSpans {
 public:
  using List = std::vector<std::shared_ptr<const KeptSpan>>;

  KeptSpans() = default;
  KeptSpans(const KeptSpans& other);
  KeptSpans& operator=(const KeptSpans&) = delete;

  // Of sums without weights.
  static constexpr double kNoHalfLife = 0;

  // Ascending by span; not null.
  std::shared_ptr<const List> Of(Measure measure, double half_life_days) const;
  // REQUIRES: ascending, all of the measure's kind, each anchored on the last day of its span.
  void Keep(Measure measure, double half_life_days, List sums);
  void Forget(Measure measure, Day day);

  size_t bytes() const;

 private:
  struct Kept {
    double half_life_days = kNoHalfLife;
    std::shared_ptr<List> sums;  // null: none
  };

  mutable std::mutex mutex_;
  size_t bytes_ = sizeof(KeptSpans);
  std::array<Kept, kMeasureCount> kept_;
};

// Goes through `cohorts`, which ascend, span by span. visit(cohorts, anchor, whole, known) is told
// the day that weights are relative to, the span's last but no later than `newest`; whether it is
// the last; and if so what is kept of the span, or null. What it returns is kept of the span unless
// that is null, only of whole ones, and where there is a memory to keep it in.
template <typename Sums, typename Visit>
void VisitSpans(std::span<const Cohort> cohorts, Day newest, Measure measure, double half_life_days,
                KeptSpans* kept, const Visit& visit) {
  std::shared_ptr<const KeptSpans::List> known;
  if (kept) known = kept->Of(measure, half_life_days);
  std::optional<KeptSpans::List> more;
  size_t next = 0;  // in `known`
  while (!cohorts.empty()) {
    const int32_t span = SpanOf(cohorts.front().day);
    const auto most = cohorts.first(std::min<size_t>(cohorts.size(), kSpanDays));
    const auto end = std::partition_point(
        most.begin(), most.end(), [&](const Cohort& one) { return SpanOf(one.day) == span; });
    const auto count = static_cast<size_t>(end - most.begin());
    const Day anchor = std::min(LastDayOf(span), newest);
    const bool whole = anchor == LastDayOf(span);
    while (known && next < known->size() && (*known)[next]->span < span) ++next;
    const bool found = known && next < known->size() && (*known)[next]->span == span;
    std::shared_ptr<const Sums> made =
        visit(cohorts.first(count), anchor, whole,
              whole && found ? static_cast<const Sums*>((*known)[next].get()) : nullptr);
    if (made && kept && whole) {
      if (!more) more = *known;
      const auto at = std::partition_point(more->begin(), more->end(),
                                           [&](const auto& one) { return one->span < span; });
      if (found) {
        *at = std::move(made);
      } else {
        more->insert(at, std::move(made));
      }
    }
    cohorts = cohorts.subspan(count);
  }
  if (more) kept->Keep(measure, half_life_days, *std::move(more));
}

}  // namespace plumblane
