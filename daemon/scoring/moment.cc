#include "scoring/moment.h"

#include <algorithm>
#include <cassert>

#include "scoring/decay.h"

namespace plumblane {

std::span<const Cohort> Watched(const Series& series, const Moment& moment) {
  assert(moment.horizon <= moment.now);
  const auto end = std::partition_point(series.begin(), series.end(), [&](const Cohort& cohort) {
    return WatchMillis(cohort.day, moment) >= 0;
  });
  return {series.begin(), end};
}

double WeightOn(Day day, const Moment& moment, const ScoreRules& rules) {
  return DecayWeight(DayOf(moment.now) - day, rules.half_life_days);
}

}  // namespace plumblane
