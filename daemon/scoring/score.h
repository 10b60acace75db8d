// The score of one pair, lane or supplier: a pure function of its cells, the priors, the moment
// asked and the rules. Equal cells give bit-equal answers.
//
// A supplier or lane is scored from the sum of its pairs' cells (AddSeries), never from their
// scores. Each measure's own header says what is read and how: rate.h, defects.h, times.h,
// arrival.h, underway.h. Of today's cohorts nothing but faults and orders under way is read.
//
// Pure and thread-safe. A pair with 400 days of orders in every measure takes about 50 us.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "cohorts/measure.h"
#include "scoring/arrival.h"
#include "scoring/defects.h"
#include "scoring/moment.h"
#include "scoring/priors.h"
#include "scoring/rate.h"
#include "scoring/spans.h"
#include "scoring/times.h"

namespace plumblane {

// One series per measure. Money may be left empty; it is not scored.
struct MeasureSet {
  std::array<Series, kMeasureCount> series;
  // Of just these series, for the next score; null: nothing is kept, and answers are the same. A
  // copy shares it: who changes the copy's series gives it one of its own.
  std::shared_ptr<KeptSpans> kept;

  KeptSpans* KeptIn(Scope scope) const { return scope == Scope::kCounted ? kept.get() : nullptr; }
  const Series& operator[](Measure measure) const { return series[IndexOf(measure)]; }
  Series& operator[](Measure measure) { return series[IndexOf(measure)]; }
};

struct ScoreEstimate {
  RateEstimate on_time, defect;  // on_time as the on-time share, its posterior of the late rate
  std::optional<Prior> late_prior, defect_prior;  // what the estimates started from
  std::optional<DefectKinds> defect_kinds;
  TimesEstimate handling, transit, delivery, response;
  std::vector<Arrival> arrivals;  // one for each of the days asked
  int64_t underway_count = 0;
  int64_t overdue_count = 0;
  // Excused orders among the settled ones of on_time, whether or not the scope counts them.
  int64_t excused_count = 0;
  // Orders kept out of a measure because its duration would be below zero, over all durations and
  // both kinds of tally, up to today; a fault holds at every moment asked.
  int64_t fault_count = 0;
  bool operator==(const ScoreEstimate&) const = default;
};

// REQUIRES: every series ascending by day and plausible (cohorts/cell.h); `priors` made for the
// same moment and rules; `within_days` as for ArrivalsWithin. The rates are of the rules' mode.
ScoreEstimate ScoreOf(const MeasureSet& measures, Scope scope, const Priors& priors,
                      const Moment& moment, const ScoreRules& rules,
                      std::span<const double> within_days = {});

}  // namespace plumblane
