// What cells say of a period: sums that add up over pairs, and the figures they end in.
//
// Of rates only cohorts whose promised day is over by the horizon are read, of times those whose
// day is; an outcome counts once it is known under the watch of its cohort (scoring/moment.h).
// What was paid counts through the last day whose events count. See review/account.h for what a
// figure is of.
//
// Pure; not thread-safe.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
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

// Excused orders are counted apart, so that one count answers for both scopes.
class FiguresCount {
 public:
  // One day of one measure; the caller sees to it that it lies in the period.
  void Add(Measure measure, Day day, const Cell& cell, const ReviewRules& rules);
  // As if all of it had been added here.
  void Add(const FiguresCount& other);

  // Shares, concentration, and what only orders tell are left as they were made.
  Figures Make(Scope scope) const;
  // Only order_count and money, which are the same in every scope.
  Figures MakePaid() const;
  std::map<Day, HitCount> Weeks(Scope scope) const;  // by Monday
  // The share arrived by days after shipping: the steps of the curve that lie a hundredth or more
  // above the point before, and its last.
  std::vector<CurvePoint> TransitCurve(Scope scope) const;
  // One for each What that either has orders of; compared, not yet judged (changes.h), where both
  // have kFewestToJudge orders and together as many that are over.
  std::vector<TimesChange> TimesAgainst(const FiguresCount& earlier, Change::Against against,
                                        Scope scope) const;

 private:
  struct Sums {
    HitCount late, defect, mature_defect;
    int64_t days_late = 0, late_arrived = 0;
    std::array<int64_t, kDefectKinds.size()> kinds{};
    TimesCount handling, transit, delivery, response;
    std::map<uint32_t, Leavers> late_days;  // by day after the promised one
    std::map<Day, HitCount> weeks;

    void Add(Measure measure, Day day, const Tally& tally, const ReviewRules& rules);
    void AddOnTime(Day day, const Tally& tally, uint32_t days_over);
    void AddDefects(const Tally& tally, uint32_t days_over, uint32_t window);
    void Add(const Sums& other);
    std::vector<Leavers> LateDays() const;
  };
  // Of the scope; made in `room` where it is not at hand.
  const Sums& In(Scope scope, Sums& room) const;
  void AddMoney(const Tally& tally);

  Sums counted_;
  std::optional<Sums> excused_;  // none until there is any
  int64_t order_count_ = 0;
  std::map<std::string, MoneyFigures> money_;
};

// How the figures stand to what was agreed: shares by their Wilson limits, times by those of the
// curve (ranking/targets.h).
std::vector<TargetReading> ReadTargets(const Targets& targets, const Figures& figures);

}  // namespace plumblane
