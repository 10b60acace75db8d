// How the share of orders that have had their outcome grows with time: the weighted Kaplan-Meier
// estimate over buckets, with limits.
//
// Orders still without an outcome are no failures and no successes; they say that the outcome took
// longer than they were watched. Each order is at risk in every bucket up to and including the one
// in which it leaves, be it by its outcome (an event) or without one (censored). With Y the weight
// at risk in a bucket and d the weight of its events,
//     S = product of (1 - d/Y)                                    share still without outcome
//     Var S = S^2 sum over orders of w^2 U^2                      infinitesimal jackknife
//     U = -sum over buckets of ([event here] - d/Y [at risk here]) / (Y - d)
//     limits of S = S^exp(-+ z sd / (S |log S|))                  log-log
//     F = 1 - S as a Beta: n* = S (1 - S)/Var S, Beta(n* (1 - S), n* S)
// For equal weights the variance is Greenwood's; unlike Greenwood's it stays right for unequal
// ones. All of it is free of scale: weights may share any common factor.
//
// Sources: E. Kaplan, P. Meier, "Nonparametric estimation from incomplete observations", JASA 53
// (1958) 457-481; R. Brookmeyer, J. Crowley, "A confidence interval for the median survival time",
// Biometrics 38 (1982) 29-41 (limits of quantiles by inverting those of S). The sums of w^2 U^2
// are taken per bucket, in one pass each way: O(buckets), whatever the number of orders.
//
// Values without hidden state; const use is thread-safe.
#pragma once

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "scoring/beta.h"

namespace plumblane {

// S after one bucket that holds events.
struct CurveStep {
  uint32_t bucket = 0;
  double survival = 1;  // S in [0, 1]
  double spread = 0;    // sd of S, divided by S; 0 when S is 0
  // Effective number of orders at risk in the bucket: Y^2 over the sum of their w^2. > 0.
  double at_risk = 0;
  // 95 % limits of S; none when S is 0 (or 1 by rounding), where the jackknife says nothing.
  bool HasLimits() const { return survival > 0 && survival < 1; }
  std::optional<Interval> Limits() const;
  // 1 - S as a Beta with the weight of the n* equal orders that would know it as well; none when
  // nobody is left: there the jackknife says nothing.
  std::optional<Beta> Share() const;
};

struct BucketQuantile {
  uint32_t bucket = 0;
  std::optional<uint32_t> low, high;  // none: the limit is not reached by the curve
  double at_risk = 0;                 // of the step at `bucket`
};

struct Curve {
  std::vector<CurveStep> steps;  // ascending by bucket; a bucket without events has no step

  // S after `bucket`; beyond the last step, its last value.
  double SurvivalAfter(uint32_t bucket) const;

  // The share F that has had its outcome by the end of `bucket`; none before the first step, too.
  std::optional<Beta> ShareBy(uint32_t bucket) const;

  // Integral of S over time from `from` to `to`, where an outcome in bucket b falls at time_of(b),
  // in whatever unit that speaks. With T the time of an order's outcome it is
  // E[(min(T, to) - from)+], how far beyond `from` outcomes lie on average, those before it
  // counting 0. Beyond the last step S keeps its last value, as if nobody else ever had an outcome.
  // REQUIRES: from <= to; time_of does not fall.
  double AreaBetween(double from, double to, double (*time_of)(uint32_t)) const;

  // The first bucket by which the share `q` has had its outcome, 1 - S >= q (1 - 1e-12), and the
  // first ones at which the limits of S say the same. None when the curve never gets there: then
  // the quantile lies beyond what was watched, and the longest finished order is no stand-in.
  // REQUIRES: 0 < q < 1.
  std::optional<BucketQuantile> QuantileAt(double q) const;
};

// The weight that leaves in one bucket.
struct WeightLeft {
  uint32_t bucket = 0;
  double event = 0, event_squares = 0;        // by an outcome: sums of w and w^2
  double censored = 0, censored_squares = 0;  // without
};

// Collects who leaves when. Orders that were at risk in no bucket are not added. Their room, 48
// bytes a bucket, is kept by the thread for the next one. All takes O(buckets in which some left),
// and a 64th of all others.
class RiskSet {
 public:
  // Takes buckets 0 .. bucket_count - 1.
  explicit RiskSet(size_t bucket_count);
  ~RiskSet();
  RiskSet(const RiskSet&) = delete;
  RiskSet& operator=(const RiskSet&) = delete;

  // `count` orders, each of `weight`, have their outcome in `bucket`.
  // REQUIRES: bucket < bucket_count, count >= 0, weight >= 0.
  void AddEvents(uint32_t bucket, int64_t count, double weight) {
    Leavers& out = At(bucket, count, weight);
    out.event += weight * static_cast<double>(count);
    out.event_squares += weight * weight * static_cast<double>(count);
  }

  // The same for orders that are last at risk in `bucket` and have no outcome there.
  void AddCensored(uint32_t bucket, int64_t count, double weight) {
    Leavers& out = At(bucket, count, weight);
    out.censored += weight * static_cast<double>(count);
    out.censored_squares += weight * weight * static_cast<double>(count);
  }

  // All that leave in one bucket. REQUIRES: bucket < bucket_count.
  void Add(const WeightLeft& left) {
    Leavers& out = At(left.bucket, 0, 0);
    out.event += left.event;
    out.event_squares += left.event_squares;
    out.censored += left.censored;
    out.censored_squares += left.censored_squares;
  }

  // Each weight times `factor`. REQUIRES: factor >= 0.
  void Scale(double factor);

  // What was added, ascending by bucket; buckets in which nothing left are left out.
  std::vector<WeightLeft> Left() const;
  void Clear();

  // Adds it to `sum`; nothing is left here. REQUIRES: `sum` has as many buckets.
  void MoveInto(RiskSet& sum);

  // An empty curve when there are no events.
  Curve Estimate();

 private:
  struct Leavers {
    double event = 0, event_squares = 0;        // sums of w and w^2
    double censored = 0, censored_squares = 0;  // likewise
    double later = 0, later_squares = 0;        // of those still at risk afterwards; by Estimate
  };
  struct Room {
    std::vector<Leavers> leavers;
    std::vector<uint64_t> used;  // a bit a bucket; those without it are empty
  };
  static bool IsEmpty(const Leavers& out) { return !(out.event > 0) && !(out.censored > 0); }
  static WeightLeft LeftIn(size_t bucket, const Leavers& out) {
    return {static_cast<uint32_t>(bucket), out.event, out.event_squares, out.censored,
            out.censored_squares};
  }
  static std::vector<Room>& Spare();  // the thread's; all of it empty

  Leavers& At(uint32_t bucket, [[maybe_unused]] int64_t count, [[maybe_unused]] double weight) {
    assert(bucket < bucket_count_ && count >= 0 && weight >= 0);
    room_.used[bucket / 64] |= uint64_t{1} << bucket % 64;
    return room_.leavers[bucket];
  }
  // Each used bucket of a room, const or not, and who left in it; ascending and descending.
  template <typename OneRoom, typename Visit>
  static void VisitUsed(OneRoom& room, const Visit& visit);
  template <typename OneRoom, typename Visit>
  static void VisitUsedFromLast(OneRoom& room, const Visit& visit);
  size_t UsedCount() const;

  [[maybe_unused]] const size_t bucket_count_;
  Room room_;  // of at least so many
};

}  // namespace plumblane
