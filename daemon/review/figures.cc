#include "review/figures.h"

#include <algorithm>
#include <span>
#include <utility>

#include "cohorts/buckets.h"
#include "scoring/rate.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;
constexpr double kLeastRise = 0.01;

Day MondayOf(Day day) { return day - (day.number + 3) % 7; }  // 1970-01-01 was a Thursday

// Calls `visit` with the cohorts of the period whose day is over by the horizon.
template <typename Visit>
void VisitDays(const Series& series, const Period& period, const Moment& moment,
               const Visit& visit) {
  for (const Cohort& cohort : Watched(series, moment)) {
    if (period.Contains(cohort.day)) visit(cohort);
  }
}

// The whole days after its promised day that are over.
uint32_t DaysOver(Day day, const Moment& moment) {
  return static_cast<uint32_t>(WatchMillis(day, moment) / kMillisPerDay);
}

}  // namespace

void MoneyFigures::Add(const MoneyFigures& other) {
  paid += other.paid;
  replacements += other.replacements;
  refunded_by_supplier += other.refunded_by_supplier;
  refunded_by_shop += other.refunded_by_shop;
  claimed += other.claimed;
  owed += other.owed;
  owed_orders += other.owed_orders;
  quoted_orders += other.quoted_orders;
  charged += other.charged;
  quoted += other.quoted;
  overcharged_orders += other.overcharged_orders;
  overcharged += other.overcharged;
  exposure += other.exposure;
}

void ExcusedOrders::Add(const ExcusedOrders& other) {
  first_due = orders == 0 ? other.first_due : std::min(first_due, other.first_due);
  last_due = orders == 0 ? other.last_due : std::max(last_due, other.last_due);
  orders += other.orders;
  settled.Add(other.settled);
}

void PeriodCosts::Add(const PeriodCosts& other) {
  late += other.late;
  days_late += other.days_late;
  defects += other.defects;
  lost += other.lost;
  unanswered += other.unanswered;
  unknown += other.unknown;
}

void FiguresCount::Add(const MeasureSet& cells, const Period& period, Scope scope,
                       const ReviewRules& rules) {
  const Moment& moment = rules.moment;
  VisitDays(cells[Measure::kOnTime], period, moment,
            [&](const Cohort& cohort) { AddOnTime(cohort.day, cohort.cell, scope, rules); });
  VisitDays(cells[Measure::kDefect], period, moment,
            [&](const Cohort& cohort) { AddDefects(cohort.day, cohort.cell, scope, rules); });
  const auto add_times = [&](Measure measure, TimesCount& times) {
    VisitDays(cells[measure], period, moment, [&](const Cohort& cohort) {
      times.Add(measure, cohort.cell, scope, WatchMillis(cohort.day, moment));
    });
  };
  add_times(Measure::kHandling, handling_);
  add_times(Measure::kTransit, transit_);
  add_times(Measure::kDelivery, delivery_);
  add_times(Measure::kResponse, response_);
  for (const Cohort& cohort : cells[Measure::kMoney]) {
    if (period.Contains(cohort.day) && cohort.day <= moment.underway_limit) AddMoney(cohort.cell);
  }
}

void FiguresCount::AddOnTime(Day day, const Cell& cell, Scope scope, const ReviewRules& rules) {
  const LateCount count = CountLate(cell, scope);
  const HitCount late{count.order_count, count.late_count};
  sums_.late.Add(late);
  weeks_[MondayOf(day)].Add(late);
  const LateCount all = CountLate(cell, Scope::kWithExcused);
  late_without_excuses_.Add({all.order_count, all.late_count});
  has_excused_ |= scope == Scope::kCounted && cell.excused.entered > 0;
  const uint32_t over = DaysOver(day, rules.moment);
  int64_t waiting = late.hits;
  VisitTallies(cell, scope, [&](const Tally& tally) {
    for (const Outcome& outcome : tally.outcomes) {
      if (outcome.code != Code::kDeliveredLate || outcome.bucket > over) continue;
      sums_.days_late += outcome.count * outcome.bucket;
      sums_.late_arrived += outcome.count;
      days_late_[outcome.bucket].finished += static_cast<int32_t>(outcome.count);
      waiting -= outcome.count;
    }
  });
  if (waiting > 0) days_late_[over].censored += static_cast<int32_t>(waiting);
}

void FiguresCount::AddDefects(Day day, const Cell& cell, Scope scope, const ReviewRules& rules) {
  const uint32_t over = DaysOver(day, rules.moment);
  const auto window = static_cast<uint32_t>(rules.claim_window_days);
  HitCount count;
  VisitTallies(cell, scope, [&](const Tally& tally) {
    count.orders += tally.entered;
    for (const Outcome& outcome : tally.outcomes) {
      if (!IsDefect(outcome.code) || outcome.bucket > std::min(over, window)) continue;
      count.hits += outcome.count;
      sums_.kinds[IndexOfKind(outcome.code)] += outcome.count;
    }
  });
  sums_.defect.Add(count);
  if (window <= over) sums_.mature_defect.Add(count);
}

void FiguresCount::AddMoney(const Cell& cell) {
  VisitTallies(cell, Scope::kWithExcused, [&](const Tally& tally) {
    sums_.order_count += tally.entered;
    for (const Outcome& outcome : tally.outcomes) {
      if (outcome.code == Code::kPromised) continue;  // its bucket is no currency
      const auto sum = [&]() -> MoneyFigures& {
        return sums_.money[UnpackCurrency(outcome.bucket)];
      };
      switch (outcome.code) {
        case Code::kCost:
          sum().paid += outcome.count;
          break;
        case Code::kReplacementCost:
          sum().paid += outcome.count;
          sum().replacements += outcome.count;
          break;
        case Code::kQuotedOrders:
          sum().quoted_orders += outcome.count;
          break;
        case Code::kQuotedCost:
          sum().charged += outcome.count;
          break;
        case Code::kQuoted:
          sum().quoted += outcome.count;
          break;
        default:  // by the day they happened, from the orders
          break;
      }
    }
  });
}

Figures FiguresCount::Make() const {
  Figures figures = sums_;
  if (has_excused_) figures.late_without_excuses = late_without_excuses_;
  figures.handling = handling_.Estimate(kFewestAtRisk);
  figures.transit = transit_.Estimate(kFewestAtRisk);
  figures.delivery = delivery_.Estimate(kFewestAtRisk);
  figures.response = response_.Estimate(kFewestAtRisk);
  return figures;
}

std::vector<Leavers> FiguresCount::DaysLate() const {
  std::vector<Leavers> leavers;
  for (const auto& [day, one] : days_late_) leavers.push_back({day, one.finished, one.censored});
  return leavers;
}

std::vector<TimesChange> FiguresCount::TimesAgainst(const FiguresCount& before) const {
  std::vector<TimesChange> changes;
  const auto add = [&](TimesChange change, std::span<const Leavers> now,
                       std::span<const Leavers> then) {
    if (change.now.orders + change.then.orders == 0) return;
    if (kFewestToJudge <= std::min(change.now.orders, change.then.orders) &&
        kFewestToJudge <= change.now.finished + change.then.finished) {
      change.comparison = CompareTimes(now, then);
    }
    changes.push_back(change);
  };
  using What = TimesChange::What;
  const std::pair<What, TimesCount FiguresCount::*> times[] = {
      {What::kHandling, &FiguresCount::handling_},
      {What::kTransit, &FiguresCount::transit_},
      {What::kResponse, &FiguresCount::response_}};
  for (const auto& [what, of] : times) {
    const TimesCount &now = this->*of, &then = before.*of;
    add({.what = what,
         .now = {now.entered_count(), now.finished_count()},
         .then = {then.entered_count(), then.finished_count()}},
        now.leavers(), then.leavers());
  }
  add({.what = What::kDaysLate,
       .now = {sums_.late.hits, sums_.late_arrived},
       .then = {before.sums_.late.hits, before.sums_.late_arrived}},
      DaysLate(), before.DaysLate());
  return changes;
}

std::vector<CurvePoint> FiguresCount::TransitCurve() const {
  std::vector<CurvePoint> points;
  const Curve curve = transit_.Curve().curve;
  for (const CurveStep& step : curve.steps) {
    const CurvePoint point{BucketSeconds(step.bucket) / kSecondsPerDay, 1 - step.survival};
    const double before = points.empty() ? 0 : points.back().share;
    if (point.share - before >= kLeastRise || &step == &curve.steps.back()) points.push_back(point);
  }
  return points;
}

std::vector<TargetReading> ReadTargets(const Targets& targets, const Figures& figures) {
  const auto rate = [](int64_t count, int64_t orders) {
    RateEstimate estimate;
    estimate.order_count = orders;
    if (orders == 0) return estimate;
    const auto part = static_cast<double>(count), all = static_cast<double>(orders);
    const Interval limits = WilsonLimits(part, all);
    estimate.estimate = part / all;
    estimate.low = limits.low;
    estimate.high = limits.high;
    return estimate;
  };
  ScoreEstimate score;
  score.on_time = rate(figures.late.orders - figures.late.hits, figures.late.orders);
  score.defect = rate(figures.defect.hits, figures.defect.orders);
  score.delivery = figures.delivery;
  score.response = figures.response;
  return ReadTargets(targets, score);
}

}  // namespace plumblane
