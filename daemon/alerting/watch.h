// One subject under watch: its settled days in, its chart's state and its alerts out.
//
// A Watch is a fold over days, ascending. Everything in it is a function of the subject, the rules
// and the days on which a new normal was accepted: Advance to a day gives the same as advancing to
// every day before it in turn, and after a correction one starts anew from the first day (Replay)
// and compares (revision.h). All days are days of cohorts. How much later a cohort settles, so when
// an alert could be told, is known by whoever makes the counts.
//
// Design. The first 28 days are only counted. Then, and on the first day with orders at least a
// week after the last attempt *while S = 0 and no alert is open*, the chart is designed anew as of
// that day: normal and yearly orders by baseline.h, the chart by cusum.h. A fresh baseline thus
// cannot absorb a worsening while evidence of it is building. If nothing can be said of what is
// normal, the old design holds; without one nothing is watched for another week. Normal are neither
// the days of the guard nor, of alerts that returned to normal, those from change to return.
//
// Alert. It opens on the day S reaches the alarm level. The change is estimated to have begun on
// the day on which S last left 0. While it is open S stands still and the mirrored chart runs; on
// the day that reaches its level the alert closes, and S starts from 0.
//
// A new normal. On an accepted day an open alert closes. What came from the change on is normal
// now: the baseline is made of those days, up to the accepted day without guard, and the chart is
// designed anew the next day. Without an open alert the change is where it would be if one opened.
//
// Sources: E. Page, Biometrika 41 (1954) 100-115 (the last zero as where the change began; see D.
// Hinkley, "Inference about the change-point from cumulative sum tests", Biometrika 58 (1971)
// 509-523). Rules of design, clearing and acceptance are our own.
//
// Pure; const use is thread-safe. A day of 10,000 lanes takes 25 ms, a tenth of them designed anew
// from 400 days each with charts from the cache; replaying 400 days of a lane 0.2 ms (CPU time on 2
// busy virtual cores, alerting_bench).
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "alerting/cusum.h"
#include "alerting/day_count.h"
#include "scoring/rate.h"

namespace plumblane {

// What is known for a design as of a day, before any order of that day.
struct DesignBasis {
  Prior prior;             // of the rate of hits
  double correlation = 0;  // DayCorrelation::Used
  int guard_days = 28;     // last days before the design that do not count as normal
  bool operator==(const DesignBasis&) const = default;
};

// What a chart is fed from. Answers must not depend on when they are asked, except that Counts may
// be cut off before the first day that has not settled.
class WatchSubject {
 public:
  virtual ~WatchSubject() = default;
  // The first day with orders; none without any.
  virtual std::optional<Day> FirstDay() const = 0;
  // None when nothing can be said of what is normal as of the start of this day.
  virtual std::optional<DesignBasis> BasisOn(Day design_day) const = 0;
  // The settled days with orders from `from` to `to`, both included, ascending. What counts as a
  // hit may depend on what was known at the start of the design day.
  virtual std::vector<DayCount> Counts(Day design_day, Day from, Day to) const = 0;
};

struct WatchRules {
  double odds_ratio = 3;                 // worth an alert; 1.5 to 10
  double false_alarms_a_year = .1;       // accepted of this chart, > 0
  double baseline_half_life_days = 180;  // at least kBaselineHalfLives of scores
  bool operator==(const WatchRules&) const = default;
};

struct Plan {
  Day day;  // as of which it was made
  ChartDesign chart;
  double correlation = 0;
  double normal = 0;         // mean of the baseline; the chart's own rate is its 80 % quantile
  double yearly_orders = 0;  // expected
  // At the chart's rate. At most the accepted ones, but for subjects too slow to be given so few
  // orders to run (kLeastTarget).
  double FalseAlarmsAYear() const { return yearly_orders / chart.orders_to_false_alarm; }
  // From the day the odds become odds_ratio times as high, on average, were each order judged by
  // itself; by the day it takes 1.15 times as long with two orders a day. REQUIRES: yearly_orders
  // > 0.
  double DaysToHear() const { return 364 * chart.orders_to_hear / yearly_orders; }
  bool operator==(const Plan&) const = default;
};

// The evidence, day by day, in sixteenths of a step: S up to the opening, then C.
struct ChartPoint {
  DayCount count;
  int64_t level = 0;
  bool operator==(const ChartPoint&) const = default;
};

enum class Ending { kOpen, kReturned, kAccepted };

// What one tells of an alert, and has to take back if it was wrong.
struct AlertFacts {
  Day changed;  // estimated; <= opened
  Day opened;
  Ending ending = Ending::kOpen;
  std::optional<Day> closed;     // unless open
  int64_t orders = 0, hits = 0;  // from the change to the opening, both days included
  bool operator==(const AlertFacts&) const = default;
};

struct Alert {
  AlertFacts facts;
  Plan plan;                                 // by which it opened
  int64_t later_orders = 0, later_hits = 0;  // after the opening, until closed or so far
  std::vector<ChartPoint> path;              // from the change until closed or so far

  double RateBefore() const { return plan.normal; }
  // Share of hits since the change, until closed or so far. The days up to the opening were picked
  // because they are bad, which makes it a little high.
  double RateSince() const;
  bool operator==(const Alert&) const = default;
};

class Watch {
 public:
  explicit Watch(WatchRules rules) : rules_(rules) {}

  // Takes the days that are new up to `last`. `accepted`: ascending, the last_day() this watch had
  // taken when the user said so; those of earlier calls again, and none beyond `last`.
  // REQUIRES: the same subject, grown, `last` >= that of the call before.
  void Advance(const WatchSubject& subject, std::span<const Day> accepted, Day last,
               ChartDesigns& designs);

  // By opening day; at most the last one is open.
  const std::vector<Alert>& alerts() const { return alerts_; }
  const Alert* open() const;
  const std::optional<Plan>& plan() const { return plan_; }  // none: not watched (yet)
  std::optional<Day> last_day() const { return last_day_; }  // last with orders that was taken
  int64_t level() const { return level_; }                   // S, in sixteenths of a step
  // The first day not yet taken; none before the first order. A change of days before it calls for
  // a replay.
  std::optional<Day> next_day() const { return next_; }
  bool warning() const;  // S has reached the warning level, no alert is open

  bool operator==(const Watch&) const = default;

 private:
  enum class Made { kYes, kNothingKnown, kNotSettled };
  Made MakePlan(const WatchSubject& subject, Day day, Day last, ChartDesigns& designs);
  bool TakeDays(const WatchSubject& subject, std::span<const Day> accepted, Day last,
                ChartDesigns& designs);
  bool Accept(std::span<const Day> accepted, Day before);
  void Step(const DayCount& count);
  void Close(Ending ending, Day day);
  bool IsNormal(Day day, Day guard) const;

  WatchRules rules_;
  std::optional<Day> next_;   // the first day not yet taken
  std::optional<Day> tried_;  // when a plan was last asked for
  std::optional<Plan> plan_;
  std::optional<Day> last_day_;
  int64_t level_ = 0, clearing_ = 0;
  Day changed_;                     // the day S left 0, or when it is 0 the next
  std::vector<ChartPoint> path_;    // since then
  std::optional<Day> normal_from_;  // what was accepted
  std::optional<Day> accepted_through_;
  size_t accepted_count_ = 0;
  std::vector<Alert> alerts_;
};

// REQUIRES: as for Advance.
Watch Replay(const WatchSubject& subject, const WatchRules& rules, std::span<const Day> accepted,
             Day last, ChartDesigns& designs);

}  // namespace plumblane
