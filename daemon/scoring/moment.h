// When a question is asked, by which rules, and which cohorts may then be read.
//
// A cohort of day d is watched for C = horizon - EndOf(d): news of everything that happened to its
// orders within C after the end of their day has come in, of later things it may not have. It is
// read once C >= 0; an outcome beyond C is treated as not yet known even where a cell holds it, so
// that an answer as of an earlier moment is the answer that moment would have given.
//
// Pure and thread-safe.
#pragma once

#include <cstdint>
#include <span>

#include "base/time.h"
#include "cohorts/cell.h"
#include "scoring/decay.h"

namespace plumblane {

// All that scoring may know of time. REQUIRES: horizon <= now.
struct Moment {
  Instant now;         // weights are by whole days before DayOf(now)
  Instant horizon;     // outcomes are complete up to here
  Day underway_limit;  // last day, inclusive, whose events count for orders under way
};

// What a rate is about; rate.h says how. The two are not comparable: never mix them in one table.
enum class RateMode {
  kCurrent,  // what is it now
  kAverage,  // what was the average, older orders counting less
};

struct ScoreRules {
  // An order of a cohort this many days back counts half. REQUIRES: > 0, finite.
  double half_life_days = 45;
  // Defects are rated by this many whole days after the promised day. REQUIRES: >= 0.
  int claim_window_days = 60;
  // A median or 90th percentile is shown only while this many equal orders' worth are at risk where
  // it is reached (CurveStep::at_risk), limits of a share of arrivals only while it is known as
  // well as by so many. 0 shows all; kFewestAtRisk is advised.
  double fewest_at_risk = 0;
  RateMode rate_mode = RateMode::kCurrent;
};

// Below about five orders a percentile is one order's own duration.
inline constexpr double kFewestAtRisk = 5;

// Whose fault is counted. Excused orders stay apart in a cell, outcome and all.
enum class Scope {
  kCounted,      // suppliers and pairs: without excused orders
  kWithExcused,  // lanes: counted and excused orders together
};

// The cohorts that rates and times read: those with C >= 0, all of which lie before today.
// REQUIRES: ascending by day. The result is a view into `series`, still ascending.
std::span<const Cohort> Watched(const Series& series, const Moment& moment);

// C of a cohort in milliseconds; not negative for the cohorts of Watched.
inline int64_t WatchMillis(Day day, const Moment& moment) { return moment.horizon - EndOf(day); }

// What one order of a cohort weighs. As DayWeights, for the thread that made it.
class CohortWeights {
 public:
  CohortWeights(const Moment& moment, const ScoreRules& rules)
      : today_(DayOf(moment.now)), weights_(rules.half_life_days) {}

  // In [0, 1]. REQUIRES: day <= DayOf(moment.now).
  double On(Day day) const { return weights_.Of(today_ - day); }

 private:
  Day today_;
  DayWeights weights_;
};

// Calls `visit` with each tally of the cell that the scope covers.
template <typename Visit>
void VisitTallies(const Cell& cell, Scope scope, const Visit& visit) {
  visit(cell.counted);
  if (scope == Scope::kWithExcused) visit(cell.excused);
}

}  // namespace plumblane
