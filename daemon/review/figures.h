// What cells say of a period: sums that add up over pairs, and the figures they end in.
//
// Of rates only cohorts whose promised day is over by the horizon are read, of times those whose
// day is; an outcome counts once it is known under the watch of its cohort (scoring/moment.h).
// What was paid counts through the last day whose events count. See review/account.h for what a
// figure is of.
//
// Pure; not thread-safe.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "review/account.h"
#include "review/period.h"
#include "scoring/moment.h"
#include "scoring/score.h"

namespace plumblane {

// By which rules.
struct ReviewRules {
  Moment moment;
  int claim_window_days = 60;
  int lost_after_days = 30;
  // For a copy to share: an excuse is told by its kind, since a reason given for it is a note of
  // our own. What customers did is told as the events have it, in words of the format.
  bool hides_notes = false;
};

class FiguresCount {
 public:
  // The days of `cells` that lie in the period.
  void Add(const MeasureSet& cells, const Period& period, Scope scope, const ReviewRules& rules);

  // Shares, concentration, and what only orders tell are left as they were made.
  Figures Make() const;
  const std::map<Day, HitCount>& weeks() const { return weeks_; }
  // The share arrived by days after shipping: the steps of the curve that lie a hundredth or more
  // above the point before, and its last.
  std::vector<CurvePoint> TransitCurve() const;
  // One for each What that either has orders of; compared, not yet judged (changes.h), where both
  // have kFewestToJudge orders and together as many that are over.
  std::vector<TimesChange> TimesAgainst(const FiguresCount& before) const;

 private:
  void AddOnTime(Day day, const Cell& cell, Scope scope, const ReviewRules& rules);
  void AddDefects(Day day, const Cell& cell, Scope scope, const ReviewRules& rules);
  void AddMoney(const Cell& cell);
  std::vector<Leavers> DaysLate() const;

  Figures sums_;
  HitCount late_without_excuses_;
  bool has_excused_ = false;
  TimesCount handling_, transit_, delivery_, response_;
  std::map<uint32_t, Leavers> days_late_;  // by day after the promised one
  std::map<Day, HitCount> weeks_;
};

// How the figures stand to what was agreed: shares by their Wilson limits, times by those of the
// curve (ranking/targets.h).
std::vector<TargetReading> ReadTargets(const Targets& targets, const Figures& figures);

}  // namespace plumblane
