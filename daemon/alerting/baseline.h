// What is normal for a subject, and how many orders a chart may run without a false alarm.
//
// The baseline is a Beta posterior of the rate of hits: a prior (fleet_prior.h in scoring), and the
// subject's own settled days up to a guard before the design day, so that a worsening that has just
// begun is not taken for normal. Days count by 2^(-age/half-life), with a half-life of at least
// four times that of scores, and a day whose orders go wrong together counts as orders/deff
// (cusum.h). As in rate.h, n is the sum of weights.
//
// The chart is designed not at the posterior's mean but at its 80 % quantile. A chart designed at
// an estimate that happens to be too low gives many times the alarms it was designed for, and one
// that is too high hardly fewer: at the mean a fleet gets 1.3 to 2.9 times the false alarms agreed
// on, at this quantile .6 to 1 times, even with no orders of its own (tests/alerting).
//
// Source: A. Gandy, J. Kvaloy, "Guaranteed conditional performance of control charts via bootstrap
// methods", Scand. J. Statist. 40 (2013) 647-668 (that an estimated baseline must be allowed for).
// The quantile is our own.
//
// Pure and thread-safe. O(days).
#pragma once

#include <span>

#include "alerting/day_count.h"
#include "scoring/beta.h"
#include "scoring/rate.h"

namespace plumblane {

inline constexpr double kDesignQuantile = .8;
inline constexpr double kBaselineHalfLives = 4;  // of scores

// Days count from `design_day` back. REQUIRES: all before it; half_life_days > 0.
Beta BaselineOf(const Prior& prior, std::span<const DayCount> days, Day design_day,
                double half_life_days, double correlation);

// The 80 % quantile, within kLeastDesignRate .. kMostDesignRate (cusum.h).
double DesignRate(const Beta& baseline);

// Orders a year to be expected from `day` on: those of the 364 days before it, or thirteen times
// those of the last 28 if that is more, so that a lane that is new or grows keeps its budget.
// REQUIRES: ascending; later ones are not read.
double YearlyOrders(std::span<const DayCount> days, Day day);

// Orders to run without a false alarm on average: yearly orders over the false alarms a year that
// are accepted, within kLeastTarget .. kMostTarget. REQUIRES: false_alarms_a_year > 0.
double TargetRun(double yearly_orders, double false_alarms_a_year);

}  // namespace plumblane
