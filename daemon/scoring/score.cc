#include "scoring/score.h"

#include "scoring/underway.h"

namespace plumblane {
namespace {

// Those that an order leaves after a duration, which may turn out below zero.
constexpr Measure kTimed[] = {Measure::kHandling, Measure::kTransit, Measure::kDelivery,
                              Measure::kResponse};

int64_t ExcusedCount(const Series& on_time, const Moment& moment) {
  int64_t count = 0;
  for (const Cohort& cohort : Watched(on_time, moment)) count += cohort.cell.excused.entered;
  return count;
}

int64_t FaultCount(const MeasureSet& measures, const Moment& moment) {
  const Day today = DayOf(moment.now);
  int64_t count = 0;
  for (const Measure measure : kTimed) {
    for (const Cohort& cohort : measures[measure]) {
      if (cohort.day > today) break;
      VisitTallies(cohort.cell, Scope::kWithExcused, [&](const Tally& tally) {
        // Sorted by code: mostly one look says that there is none.
        for (auto it = tally.outcomes.rbegin();
             it != tally.outcomes.rend() && it->code >= Code::kFault; ++it) {
          if (it->code == Code::kFault) count += it->count;
        }
      });
    }
  }
  return count;
}

}  // namespace

ScoreEstimate ScoreOf(const MeasureSet& measures, Scope scope, const Priors& priors,
                      const Moment& moment, const ScoreRules& rules,
                      std::span<const double> within_days) {
  KeptSpans* const kept = measures.KeptIn(scope);
  const auto times = [&](Measure measure) {
    return TimesOf(measure, measures[measure], scope, moment, rules, kept);
  };
  const bool average = rules.rate_mode == RateMode::kAverage;
  const auto on_time_rate = average ? MeasuredOnTimeRate : OnTimeRate;
  const DefectEstimate defects = DefectsOf(measures[Measure::kDefect], scope, priors.defect,
                                           priors.defect_delay, moment, rules);
  ScoreEstimate score;
  score.on_time = on_time_rate(measures[Measure::kOnTime], scope, priors.late, moment, rules);
  score.defect = defects.rate;
  score.late_prior = priors.late;
  score.defect_prior = priors.defect;
  score.defect_kinds = defects.kinds;
  score.handling = times(Measure::kHandling);
  score.transit = times(Measure::kTransit);
  score.delivery = times(Measure::kDelivery);
  score.response = times(Measure::kResponse);
  score.arrivals =
      ArrivalsWithin(within_days, measures[Measure::kDelivery], scope, moment, rules, kept);
  score.underway_count = UnderwayCount(measures[Measure::kUnderway], scope, moment);
  score.overdue_count = OverdueCount(measures[Measure::kOverdue], scope, moment);
  score.excused_count = ExcusedCount(measures[Measure::kOnTime], moment);
  score.fault_count = FaultCount(measures, moment);
  return score;
}

}  // namespace plumblane
