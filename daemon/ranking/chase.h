// Which orders under way are worth chasing: how likely each misses its promise, given that it was
// not there by the last news, and why in plain words.
//
// With S the share still out after a time (scoring/curve.h), from the start of the leg:
//     chance = S(promise - start) / S(last news - start)
// A shipped order goes by the transit curve from its ship time, another by the delivery curve from
// its payment. A duration counts as over in a bucket when the bucket ends by then (arrival.h).
//
// A curve speaks when at least kFewestAtRisk equal orders were still out at that age, and as many
// were followed until the promise; else the next one is asked, else nobody can tell. Where past
// orders were not followed so far, S stays at its last value, which is no chance.
//
// Pure and thread-safe. O(log steps) a curve and question.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "cohorts/cell.h"
#include "scoring/curve.h"
#include "scoring/moment.h"

namespace plumblane {

// More likely than not to miss its promise.
inline constexpr double kLikelyLate = 0.5;

struct LegCurve {
  Curve curve;
  // At least kFewestAtRisk orders were watched for so long; none: fewer than that are known.
  std::optional<int64_t> followed_millis;
};

// REQUIRES: measure is transit or delivery, `series` is that measure's; else as for TimesOf.
LegCurve LegCurveOf(Measure measure, const Series& series, Scope scope, const Moment& moment,
                    const ScoreRules& rules);

// The chance that what is out at `age` is still out at `until`, both in milliseconds from the start
// of the leg; none when the curve cannot tell. REQUIRES: age <= until; below 0 counts as 0.
std::optional<double> ChanceStillOut(const LegCurve& leg, int64_t age, int64_t until);

// What is known of one order under way.
struct Chased {
  Instant paid;
  std::optional<Instant> shipped, deadline;
  std::optional<double> usual_days;  // nine in ten orders of its supplier are shipped by then
};

// By the first of the curves, those of transit or delivery as the order needs, that can tell; 1
// when the deadline lies before `news`, up to which an arrival would be known. None without
// deadline.
std::optional<double> LateChance(const Chased& order, const std::vector<const LegCurve*>& curves,
                                 Instant news);

// Not shipped by the last news though nine in ten are sooner.
bool IsSlowToLeave(const Chased& order, Instant news);

// "3 days past its promise, not shipped yet; ...", "" = nothing to chase it for.
std::string WhyChase(const Chased& order, std::optional<double> late_chance, Instant news);

}  // namespace plumblane
