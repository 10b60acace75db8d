// The words the tests of scoring are written in: cohorts, series and moments.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <initializer_list>
#include <utility>
#include <vector>

#include "base/time.h"
#include "cohorts/cell.h"
#include "scoring/moment.h"

namespace plumblane {

inline constexpr Day kToday{20'000};
inline constexpr int64_t kMillisPerHour = 3'600'000;

// Orders of whatever day weigh 1, to 13 digits.
inline constexpr ScoreRules kNoDecay{.half_life_days = 1e15};

// Asked at the first instant of `today`, with news settled up to a day before: the last cohort that
// is read is that of `today - 2`, with a watch of exactly 0.
inline Moment Asked(Day today) {
  return {StartOf(today), StartOf(today) - kMillisPerDay, today - 1};
}

// The moment at which the cohort of `day` has been watched for `watch`.
inline Moment WatchedFor(Day day, int64_t watch) {
  const Instant horizon = EndOf(day) + watch;
  const Instant now = horizon + kMillisPerDay;
  return {now, horizon, DayOf(now) - 1};
}

inline Tally TallyOf(int64_t entered, const std::vector<Outcome>& outcomes) {
  Tally tally;
  tally.entered = entered;
  for (const Outcome& outcome : outcomes) tally.Add(outcome.code, outcome.bucket, outcome.count);
  return tally;
}

inline Cohort Counted(Day day, int64_t entered, const std::vector<Outcome>& outcomes = {}) {
  return {day, {TallyOf(entered, outcomes), {}}};
}

inline Cohort Excused(Day day, int64_t entered, const std::vector<Outcome>& outcomes = {}) {
  return {day, {{}, TallyOf(entered, outcomes)}};
}

// The sum of the cohorts, given in any order.
inline Series SeriesOf(const std::vector<Cohort>& cohorts) {
  Series series;
  for (const Cohort& cohort : cohorts) AddSeries(series, {cohort});
  return series;
}

// The same to 9 significant digits, the precision the reference values are printed with.
inline void ExpectSame(double actual, double expected) {
  EXPECT_NEAR(actual, expected, 1e-9 * std::fabs(expected));
}

inline void ExpectSame(const std::vector<double>& actual, const std::vector<double>& expected) {
  ASSERT_EQ(actual.size(), expected.size());
  for (size_t i = 0; i < actual.size(); ++i) {
    SCOPED_TRACE(i);
    ExpectSame(actual[i], expected[i]);
  }
}

}  // namespace plumblane
