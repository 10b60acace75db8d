// Times: how long orders take from one event to another, median and 90th percentile.
//
// Read from cells with duration buckets (cohorts/buckets.h, each within 1 % of its members), as the
// quantiles of a weighted Kaplan-Meier curve (curve.h), so that orders still under way count as
// taking longer than they were watched. Under the watch C of its cohort:
//   - an outcome in a bucket is known when the bucket's end lies within C;
//   - an order without known outcome is at risk in exactly the buckets whose end lies within C;
//   - one that left without outcome is at risk up to and including its bucket.
// A parcel that is lost never leaves: the curve states the share of all orders that has arrived by
// a time, not of those that will.
//
// A quantile reached with fewer than ScoreRules::fewest_at_risk orders' worth at risk (less 1e-12
// of it: five equal orders are five) is left out and marked too_few: it would be some single
// order's duration. It is no statement that the quantile is not reached; median_reached says that.
//
// Sources: E. Kaplan, P. Meier, JASA 53 (1958) 457-481; C. Masson, J. Rim, H. Lee, "DDSketch",
// PVLDB 12(12) (2019) 2195-2205 (buckets, and the first bucket reaching q (1 - 1e-12)).
//
// Pure and thread-safe. O(cohorts + outcomes + buckets); where sums are kept (spans.h)
// O(buckets + days with orders that have no outcome).
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "cohorts/measure.h"
#include "scoring/curve.h"
#include "scoring/moment.h"
#include "scoring/spans.h"

namespace plumblane {

struct TimesEstimate {
  struct Quantile {
    double seconds = 0;  // what its bucket stands for; 0 below a minute
    // 95 % limits in seconds. `high` is absent when the curve does not bound it; `low` only when
    // the quantile is not reached until the last order at risk finishes.
    std::optional<double> low, high;
    bool operator==(const Quantile&) const = default;
  };
  // Absent when fewer than that share are known to have finished within the watch.
  std::optional<Quantile> median, p90;
  int64_t entered_count = 0;    // orders of the cohorts read, undecayed
  int64_t finished_count = 0;   // those known to have finished
  bool median_reached = false;  // known to be, shown or not
  bool median_too_few = false;  // reached, but left out
  bool p90_too_few = false;
  // In seconds, how long these orders were followed: the longest that any was seen without an
  // outcome, or until it had one (the end of its bucket). What is not reached takes longer. Absent
  // without orders.
  std::optional<double> longest_watch;
  bool operator==(const TimesEstimate&) const = default;
};

// What it is read from.
struct TimesCurve {
  Curve curve;  // over the buckets of cohorts/buckets.h; empty without cohorts to read
  int64_t entered_count = 0, finished_count = 0;
  double entered_weight = 0;  // decayed
  int64_t fault_count = 0;    // FaultsIn (times_sum.h) the cohorts read
  std::optional<int64_t> longest_watch_millis;
};

// Orders that leave in one bucket, by their outcome or without one.
struct Leavers {
  uint32_t bucket = 0;
  int32_t finished = 0, censored = 0;
  bool operator==(const Leavers&) const = default;
};

// The same cohorts without decay, for what was: adds up over cohorts and over pairs, so that many
// can be counted at once in little memory. 16 bytes for each bucket in use.
class TimesCount {
 public:
  // The orders of one cell's tally. REQUIRES: its watch is not negative; all tallies of one count
  // are of one measure, as for TimesOf.
  void Add(Measure measure, const Tally& tally, int64_t watch_millis);
  // REQUIRES: of the same measure.
  void Add(const TimesCount& other);

  TimesCurve Curve() const;
  TimesEstimate Estimate(double fewest_at_risk) const;
  // Ascending by bucket.
  const std::vector<Leavers>& leavers() const { return leavers_; }
  int64_t entered_count() const { return entered_count_; }
  int64_t finished_count() const { return finished_count_; }

 private:
  void AddAt(const Leavers& leavers);

  std::vector<Leavers> leavers_;
  int64_t entered_count_ = 0, finished_count_ = 0;
  std::optional<int64_t> longest_watch_millis_;
};

// Sums up by spans of days (spans.h); those of `kept`, where not null, are used and added to.
// REQUIRES: as for TimesOf.
TimesCurve TimesCurveOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                        const ScoreRules& rules, KeptSpans* kept = nullptr);

// Of the sum of the parts, up to rounding, without summing up their cells.
TimesCurve TimesCurveOf(Measure measure, std::span<const std::shared_ptr<const Series>> parts,
                        Scope scope, const Moment& moment, const ScoreRules& rules);

TimesEstimate EstimateOf(const TimesCurve& curve, double fewest_at_risk);

// REQUIRES: measure is handling, transit, delivery or response, and `series` is that measure's;
// `kept` is null or of the pair whose series it is, and the scope then kCounted.
TimesEstimate TimesOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                      const ScoreRules& rules, KeptSpans* kept = nullptr);

}  // namespace plumblane
