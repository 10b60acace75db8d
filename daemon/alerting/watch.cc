#include "alerting/watch.h"

#include <algorithm>
#include <cassert>
#include <utility>

#include "alerting/baseline.h"

namespace plumblane {
namespace {

constexpr int kRunInDays = 28, kDesignEveryDays = 7;

}  // namespace

double Alert::RateSince() const {
  return static_cast<double>(facts.hits + later_hits) /
         static_cast<double>(facts.orders + later_orders);
}

const Alert* Watch::open() const {
  const bool is_open = !alerts_.empty() && alerts_.back().facts.ending == Ending::kOpen;
  return is_open ? &alerts_.back() : nullptr;
}

bool Watch::warning() const {
  return plan_ && open() == nullptr && level_ >= kLevelUnit * plan_->chart.warning_level;
}

void Watch::Advance(const WatchSubject& subject, std::span<const Day> accepted, Day last,
                    ChartDesigns& designs) {
  if (!next_) {
    const auto first = subject.FirstDay();
    if (!first) return;
    next_ = *first + kRunInDays;
  }
  while (*next_ <= last) {
    Accept(accepted, *next_);
    if (!plan_) {
      const Made made = MakePlan(subject, *next_, last, designs);
      if (made == Made::kNotSettled) return;
      if (made == Made::kNothingKnown) {
        next_ = *next_ + kDesignEveryDays;
        continue;
      }
    }
    if (!TakeDays(subject, accepted, last, designs)) break;
  }
  Accept(accepted, last + 1);
}

// False when all settled days are taken; true when the rest must be asked for again.
bool Watch::TakeDays(const WatchSubject& subject, std::span<const Day> accepted, Day last,
                     ChartDesigns& designs) {
  for (const DayCount& count : subject.Counts(plan_->day, *next_, last)) {
    if (Accept(accepted, count.day)) return true;
    if (level_ == 0 && open() == nullptr && count.day - *tried_ >= kDesignEveryDays) {
      const Made made = MakePlan(subject, count.day, last, designs);
      if (made == Made::kYes) return true;
      if (made == Made::kNotSettled) return false;
      tried_ = count.day;
    }
    Step(count);
  }
  return false;
}

Watch::Made Watch::MakePlan(const WatchSubject& subject, Day day, Day last, ChartDesigns& designs) {
  const auto basis = subject.BasisOn(day);
  if (!basis) return Made::kNothingKnown;
  if (subject.Counts(day, day, last).empty()) return Made::kNotSettled;
  std::vector<DayCount> days = subject.Counts(day, Day{0}, day - 1);
  Plan plan;
  plan.day = day;
  plan.correlation = basis->correlation;
  plan.yearly_orders = YearlyOrders(days, day);
  std::erase_if(
      days, [&](const DayCount& count) { return !IsNormal(count.day, day - basis->guard_days); });
  const Beta baseline =
      BaselineOf(basis->prior, days, day, rules_.baseline_half_life_days, basis->correlation);
  plan.normal = baseline.Mean();
  plan.chart = designs.For(DesignRate(baseline), rules_.odds_ratio,
                           TargetRun(plan.yearly_orders, rules_.false_alarms_a_year));
  plan_ = plan;
  tried_ = next_ = day;
  return Made::kYes;
}

// `guard`: the first day of the guard.
bool Watch::IsNormal(Day day, Day guard) const {
  if (normal_from_ && day < *normal_from_) return false;
  if (accepted_through_ && day <= *accepted_through_) return true;
  if (day >= guard) return false;
  return std::none_of(alerts_.begin(), alerts_.end(), [day](const Alert& alert) {
    return alert.facts.ending == Ending::kReturned && alert.facts.changed <= day &&
           day <= *alert.facts.closed;
  });
}

// Takes what was accepted before the day; true when that leaves the chart to be designed anew.
bool Watch::Accept(std::span<const Day> accepted, Day before) {
  const bool had_plan = plan_.has_value();
  for (; accepted_count_ < accepted.size() && accepted[accepted_count_] < before;
       ++accepted_count_) {
    if (!plan_) continue;  // nothing was watched, so nothing was abnormal
    const Day day = accepted[accepted_count_];
    normal_from_ = changed_;
    accepted_through_ = day;
    if (open() != nullptr) Close(Ending::kAccepted, day);
    level_ = 0;
    path_.clear();
    plan_.reset();
    next_ = day + 1;
  }
  return had_plan && !plan_;
}

void Watch::Step(const DayCount& count) {
  const int64_t score = DayScore(plan_->chart.steps, count.orders, count.hits, plan_->correlation);
  last_day_ = count.day;
  next_ = count.day + 1;
  if (open() != nullptr) {
    Alert& alert = alerts_.back();
    clearing_ = NextLevel(clearing_, -score);
    alert.later_orders += count.orders;
    alert.later_hits += count.hits;
    alert.path.push_back({count, clearing_});
    if (clearing_ >= kLevelUnit * plan_->chart.clear_level) Close(Ending::kReturned, count.day);
    return;
  }
  level_ = NextLevel(level_, score);
  if (level_ == 0) {
    path_.clear();
    changed_ = count.day + 1;
    return;
  }
  if (path_.empty()) changed_ = count.day;
  path_.push_back({count, level_});
  if (level_ < kLevelUnit * plan_->chart.alarm_level) return;
  Alert alert;
  alert.facts.changed = changed_;
  alert.facts.opened = count.day;
  alert.plan = *plan_;
  for (const ChartPoint& point : path_) {
    alert.facts.orders += point.count.orders;
    alert.facts.hits += point.count.hits;
  }
  alert.path = std::exchange(path_, {});
  alerts_.push_back(std::move(alert));
  clearing_ = 0;
}

void Watch::Close(Ending ending, Day day) {
  alerts_.back().facts.ending = ending;
  alerts_.back().facts.closed = day;
  level_ = 0;
  changed_ = day + 1;
}

Watch Replay(const WatchSubject& subject, const WatchRules& rules, std::span<const Day> accepted,
             Day last, ChartDesigns& designs) {
  Watch watch(rules);
  watch.Advance(subject, accepted, last, designs);
  return watch;
}

}  // namespace plumblane
