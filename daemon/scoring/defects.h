// Defects: the share of orders that turn out defective within the claim window.
//
// A cell holds, by whole days after the promised day, defects of each kind and orders that `left`
// without one. Of a cohort watched for C, D = floor(C / 1 day) whole days are over:
//   - an outcome of day b is known when b <= D;
//   - an order without known outcome is at risk on days 0 .. D;
//   - one with a known outcome, defect or left, is at risk up to and including its day.
// The observed share is the weighted Kaplan-Meier share by the last day of the window; when no
// cohort has come that far, by the last day reached.
//
// A young cohort has shown only part of its defects. With G(t) the pooled share by day t, an order
// watched for D days therefore counts as g = G(min(D, window))/G(window) of one in the posterior:
// n = sum of w entered g, y = sum of w known defects, prior mean = y/n pooled over all pairs.
//
// The effective size of n. An order shows its defect by now with probability g p, so y has mean p n
// and variance near p sum(w^2 g) for the small p of defects. As many equal, wholly seen orders as
// give y/n the same variance are n^2 / sum(w^2 entered g): g enters once, not squared. One order
// of which a tenth has shown is then a tenth of an order, whatever its weight.
//
// Kinds. The share by kind is Aalen and Johansen's: the defects of a day are split among the kinds
// seen on it, S(before) d_kind/Y each, so that the shares add up to the Kaplan-Meier share. An
// order lost first can no longer be damaged; the shares say what happens, not what would without
// the other kinds.
//
// Sources: E. Kaplan, P. Meier, JASA 53 (1958) 457-481; O. Aalen, S. Johansen, "An empirical
// transition matrix for non-homogeneous Markov chains based on censored observations", Scand. J.
// Statist. 5 (1978) 141-150; posterior as in rate.h.
//
// Pure and thread-safe. O(cohorts + outcomes + window), less where sums are kept (spans.h).
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "cohorts/cell.h"
#include "cohorts/measure.h"
#include "scoring/decay.h"
#include "scoring/moment.h"
#include "scoring/rate.h"

namespace plumblane {

// How far defects have shown themselves by a day after the promised one.
struct DelayCurve {
  // G(t) for t = 0 .. claim window, never falling; beyond the last day reached, its last value.
  // Empty when nothing is known.
  std::vector<double> share;

  // G(min(days, window))/G(window), in [0, 1]; while no defect is known at all, the part of the
  // window that is over, (days + 1)/(window + 1). REQUIRES: days >= 0; `share` is empty or was made
  // for this window.
  double ReachedBy(int days, int window_days) const;

  bool operator==(const DelayCurve&) const = default;
};

struct DefectPrior {
  std::optional<Prior> prior;  // none when no order's promised day is over
  DelayCurve delay;
};

// From the sum over all pairs, in the scope of the score it is for; mean as PooledMean. Answers do
// not depend on what is kept (spans.h), here and below.
DefectPrior PooledDefectPrior(const Series& total, const Moment& moment, const ScoreRules& rules,
                              Scope scope = Scope::kCounted, KeptSpans* kept = nullptr);

// What a series says of n and y before it is known how far defects show themselves by a day.
struct DefectExposure {
  struct Reached {
    int day = 0;        // min(D, window)
    double weight = 0;  // decayed orders that have come so far: sum of w, and of w^2
    double squares = 0;
    bool operator==(const Reached&) const = default;
  };
  std::vector<Reached> reached;  // ascending by day
  double hit_weight = 0;         // y
  int64_t order_count = 0;
  int64_t hit_count = 0;
  int window_days = 0;
  bool operator==(const DefectExposure&) const = default;
};
// The same up to rounding as what DefectsOf is made of.
DefectExposure ExposureOf(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules);

// n as w1, sum(w^2 entered g) as w2 and y as s: what a fleet prior is fitted to. y may exceed n.
// `delay` and scope are those of the score the prior is for.
WeightedSums DefectSums(const DefectExposure& exposure, const DelayCurve& delay);

// Decayed shares of orders by the kind of their defect, by the end of the claim window or the last
// day reached. None in the cases in which `observed` is absent.
struct DefectKinds {
  static constexpr size_t kCount = 7;
  std::array<double, kCount> share{};  // kDamaged, kQuality, ... kLost, in the order of Code
  double Of(Code kind) const;          // REQUIRES: IsDefect(kind)
  bool operator==(const DefectKinds&) const = default;
};

// `order_count` are the orders whose promised day is over, `hit_count` the defects known within the
// claim window, `weight` is n. In average mode (rate.h) n and y are on the scale of the effective
// size of n. `prior` and `delay` are what PooledDefectPrior gave for the same moment and rules.
struct DefectEstimate {
  RateEstimate rate;  // in the rules' mode
  std::optional<DefectKinds> kinds;
  double hit_weight = 0;  // y of DefectExposure
};
DefectEstimate DefectsOf(const Series& defect, Scope scope, const std::optional<Prior>& prior,
                         const DelayCurve& delay, const Moment& moment, const ScoreRules& rules,
                         KeptSpans* kept = nullptr);

}  // namespace plumblane
