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

void FiguresCount::Add(Measure measure, Day day, const Cell& cell, const ReviewRules& rules) {
  if (measure == Measure::kMoney) {
    if (rules.moment.underway_limit < day) return;
    AddMoney(cell.counted);
    AddMoney(cell.excused);
    return;
  }
  if (rules.moment.horizon < EndOf(day)) return;
  counted_.Add(measure, day, cell.counted, rules);
  if (cell.excused.empty()) return;
  if (!excused_) excused_.emplace();
  excused_->Add(measure, day, cell.excused, rules);
}

void FiguresCount::Sums::Add(Measure measure, Day day, const Tally& tally,
                             const ReviewRules& rules) {
  const Moment& moment = rules.moment;
  const int64_t watch = WatchMillis(day, moment);
  switch (measure) {
    case Measure::kOnTime:
      AddOnTime(day, tally, DaysOver(day, moment));
      break;
    case Measure::kDefect:
      AddDefects(tally, DaysOver(day, moment), static_cast<uint32_t>(rules.claim_window_days));
      break;
    case Measure::kHandling:
      handling.Add(measure, tally, watch);
      break;
    case Measure::kTransit:
      transit.Add(measure, tally, watch);
      break;
    case Measure::kDelivery:
      delivery.Add(measure, tally, watch);
      break;
    case Measure::kResponse:
      response.Add(measure, tally, watch);
      break;
    default:  // no figure is made of it
      break;
  }
}

void FiguresCount::Sums::AddOnTime(Day day, const Tally& tally, uint32_t days_over) {
  const LateCount count = CountLate(tally);
  const HitCount hits{count.order_count, count.late_count};
  late.Add(hits);
  weeks[MondayOf(day)].Add(hits);
  int64_t waiting = hits.hits;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code != Code::kDeliveredLate || outcome.bucket > days_over) continue;
    days_late += outcome.count * outcome.bucket;
    late_arrived += outcome.count;
    late_days[outcome.bucket].finished += static_cast<int32_t>(outcome.count);
    waiting -= outcome.count;
  }
  if (waiting > 0) late_days[days_over].censored += static_cast<int32_t>(waiting);
}

void FiguresCount::Sums::AddDefects(const Tally& tally, uint32_t days_over, uint32_t window) {
  HitCount count{tally.entered, 0};
  for (const Outcome& outcome : tally.outcomes) {
    if (!IsDefect(outcome.code) || outcome.bucket > std::min(days_over, window)) continue;
    count.hits += outcome.count;
    kinds[IndexOfKind(outcome.code)] += outcome.count;
  }
  defect.Add(count);
  if (window <= days_over) mature_defect.Add(count);
}

void FiguresCount::Sums::Add(const Sums& other) {
  late.Add(other.late);
  defect.Add(other.defect);
  mature_defect.Add(other.mature_defect);
  days_late += other.days_late;
  late_arrived += other.late_arrived;
  for (size_t i = 0; i < kinds.size(); ++i) kinds[i] += other.kinds[i];
  handling.Add(other.handling);
  transit.Add(other.transit);
  delivery.Add(other.delivery);
  response.Add(other.response);
  for (const auto& [day, leavers] : other.late_days) {
    late_days[day].finished += leavers.finished;
    late_days[day].censored += leavers.censored;
  }
  for (const auto& [monday, count] : other.weeks) weeks[monday].Add(count);
}

void FiguresCount::AddMoney(const Tally& tally) {
  order_count_ += tally.entered;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.code == Code::kPromised) continue;  // its bucket is no currency
    const auto sum = [&]() -> MoneyFigures& { return money_[UnpackCurrency(outcome.bucket)]; };
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
}

void FiguresCount::Add(const FiguresCount& other) {
  counted_.Add(other.counted_);
  if (other.excused_) {
    if (!excused_) excused_.emplace();
    excused_->Add(*other.excused_);
  }
  order_count_ += other.order_count_;
  for (const auto& [currency, money] : other.money_) money_[currency].Add(money);
}

Figures FiguresCount::MakePaid() const {
  Figures figures;
  figures.order_count = order_count_;
  figures.money = money_;
  return figures;
}

const FiguresCount::Sums& FiguresCount::In(Scope scope, Sums& room) const {
  if (scope == Scope::kCounted || !excused_) return counted_;
  room = counted_;
  room.Add(*excused_);
  return room;
}

Figures FiguresCount::Make(Scope scope) const {
  Figures figures = MakePaid();
  Sums room;
  const Sums& sums = In(scope, room);
  figures.late = sums.late;
  if (scope == Scope::kCounted && excused_ && excused_->late.orders > 0) {
    figures.late_without_excuses = counted_.late;
    figures.late_without_excuses->Add(excused_->late);
  }
  figures.days_late = sums.days_late;
  figures.late_arrived = sums.late_arrived;
  figures.defect = sums.defect;
  figures.kinds = sums.kinds;
  figures.mature_defect = sums.mature_defect;
  figures.handling = sums.handling.Estimate(kFewestAtRisk);
  figures.transit = sums.transit.Estimate(kFewestAtRisk);
  figures.delivery = sums.delivery.Estimate(kFewestAtRisk);
  figures.response = sums.response.Estimate(kFewestAtRisk);
  return figures;
}

std::map<Day, HitCount> FiguresCount::Weeks(Scope scope) const {
  Sums room;
  return In(scope, room).weeks;
}

std::vector<Leavers> FiguresCount::Sums::LateDays() const {
  std::vector<Leavers> leavers;
  for (const auto& [day, one] : late_days) leavers.push_back({day, one.finished, one.censored});
  return leavers;
}

std::vector<TimesChange> FiguresCount::TimesAgainst(const FiguresCount& earlier,
                                                    Change::Against against, Scope scope) const {
  Sums room_now, room_then;
  const Sums &now = In(scope, room_now), &then = earlier.In(scope, room_then);
  std::vector<TimesChange> changes;
  const auto add = [&](TimesChange change, std::span<const Leavers> leavers_now,
                       std::span<const Leavers> leavers_then) {
    if (change.now.orders + change.then.orders == 0) return;
    if (kFewestToJudge <= std::min(change.now.orders, change.then.orders) &&
        kFewestToJudge <= change.now.finished + change.then.finished) {
      change.comparison = CompareTimes(leavers_now, leavers_then);
    }
    changes.push_back(change);
  };
  using What = TimesChange::What;
  const std::pair<What, TimesCount Sums::*> times[] = {{What::kHandling, &Sums::handling},
                                                       {What::kTransit, &Sums::transit},
                                                       {What::kResponse, &Sums::response}};
  for (const auto& [what, of] : times) {
    const TimesCount &one = now.*of, &other = then.*of;
    add({.what = what,
         .against = against,
         .now = {one.entered_count(), one.finished_count()},
         .then = {other.entered_count(), other.finished_count()}},
        one.leavers(), other.leavers());
  }
  add({.what = What::kDaysLate,
       .against = against,
       .now = {now.late.hits, now.late_arrived},
       .then = {then.late.hits, then.late_arrived}},
      now.LateDays(), then.LateDays());
  return changes;
}

std::vector<CurvePoint> FiguresCount::TransitCurve(Scope scope) const {
  Sums room;
  const TimesCount& times = In(scope, room).transit;
  std::vector<CurvePoint> points;
  const Curve curve = times.Curve().curve;
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
