#include "scoring/score.h"

#include "scoring/times_sum.h"
#include "scoring/underway.h"

namespace plumblane {
namespace {

// Of the cohorts up to today that Watched leaves out.
int64_t FaultsNotWatched(const Series& series, const Moment& moment) {
  const Day today = DayOf(moment.now);
  int64_t count = 0;
  for (size_t i = Watched(series, moment).size(); i < series.size() && series[i].day <= today;
       ++i) {
    count += FaultsIn(series[i].cell);
  }
  return count;
}

}  // namespace

ScoreEstimate ScoreOf(const MeasureSet& measures, Scope scope, const Priors& priors,
                      const Moment& moment, const ScoreRules& rules,
                      std::span<const double> within_days) {
  KeptSpans* const kept = measures.KeptIn(scope);
  const DefectEstimate defects = DefectsOf(measures[Measure::kDefect], scope, priors.defect,
                                           priors.defect_delay, moment, rules, kept);
  ScoreEstimate score;
  const auto times = [&](Measure measure) {
    const Series& series = measures[measure];
    const TimesCurve curve = TimesCurveOf(measure, series, scope, moment, rules, kept);
    score.fault_count += curve.fault_count + FaultsNotWatched(series, moment);
    return EstimateOf(curve, rules.fewest_at_risk);
  };
  const OnTimeCounts on_time = CountOnTime(measures[Measure::kOnTime], scope, moment, rules, kept);
  score.on_time = OnTimeRate(on_time, priors.late, rules.rate_mode);
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
  KeptSpans* const either = measures.kept.get();
  score.underway_count = UnderwayCount(measures[Measure::kUnderway], scope, moment, either);
  score.overdue_count = OverdueCount(measures[Measure::kOverdue], scope, moment, either);
  score.excused_count = on_time.excused_count;
  return score;
}

}  // namespace plumblane
