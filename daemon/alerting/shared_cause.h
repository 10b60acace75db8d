// Many alerts on one day are one matter: a strike, a closed border, a tracking feed gone wrong.
//
// False alarms of all charts come at a known pace, the sum of what each expects a year. If charts
// were independent, alerts of two days side by side would number Poisson(2 pace/364). Two such days
// are crowded when they hold at least `fewest` alerts, the smallest number of two or more that
// would be reached by chance on less than one such pair of days in ten years (at most what 700
// alerts on average call for: who accepts more false alarms has no use for groups). Crowded pairs
// that have a day in common make one shared cause, with all alerts of its days.
//
// Our own. Pure and thread-safe. O(alerts log alerts).
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "base/time.h"

namespace plumblane {

// REQUIRES: false_alarms_a_year >= 0, the sum of Plan::FalseAlarmsAYear over all charts.
int FewestOfSharedCause(double false_alarms_a_year);

struct SharedCause {
  Day first, last;             // of its openings
  std::vector<size_t> alerts;  // positions in what was given, ascending
  bool operator==(const SharedCause&) const = default;
};

// `opened`: the opening day of each alert, in any order; all counted alike, be it by cohort or by
// when it was told. Alerts in no group stand for themselves. By first day.
std::vector<SharedCause> GroupAlerts(std::span<const Day> opened, double false_alarms_a_year);

}  // namespace plumblane
