#include "alerting/subjects.h"

#include <algorithm>
#include <cassert>

#include "cohorts/buckets.h"
#include "scoring/rate.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

bool IsEarlyKind(ChartKind kind) {
  return kind == ChartKind::kNotShipped || kind == ChartKind::kNotDelivered;
}

// Adds what a tally says by the end of bucket `by`. Delays in days or buckets of durations: those
// up to `by` are over.
void CountBy(const Tally& tally, uint32_t by, bool outcome_is_hit, DayCount& count) {
  int64_t left = 0, outcomes = 0;
  for (const Outcome& outcome : tally.outcomes) {
    if (outcome.bucket > by || outcome.code == Code::kFault) continue;
    (outcome.code == Code::kLeft ? left : outcomes) += outcome.count;
  }
  const int64_t orders = tally.entered - left;
  count.orders += orders;
  count.hits += outcome_is_hit ? outcomes : orders - outcomes;
}

// Both ascending.
void AddDays(std::vector<DayCount>& sum, std::vector<DayCount> more) {
  if (sum.empty()) return sum.swap(more);
  std::vector<DayCount> both;
  both.reserve(sum.size() + more.size());
  auto one = sum.begin();
  for (const DayCount& other : more) {
    while (one != sum.end() && one->day < other.day) both.push_back(*one++);
    both.push_back(other);
    if (one == sum.end() || one->day != other.day) continue;
    both.back().orders += one->orders;
    both.back().hits += one->hits;
    ++one;
  }
  both.insert(both.end(), one, sum.end());
  sum.swap(both);
}

}  // namespace

Measure MeasureOf(ChartKind kind) {
  switch (kind) {
    case ChartKind::kLate:
      return Measure::kOnTime;
    case ChartKind::kDefect:
      return Measure::kDefect;
    case ChartKind::kNotShipped:
      return Measure::kHandling;
    case ChartKind::kNotDelivered:
      return Measure::kDelivery;
  }
  return Measure::kOnTime;
}

std::optional<uint32_t> UsualBucket(ChartKind kind, const SeriesParts& parts, Scope scope,
                                    const Moment& moment, double half_life_days) {
  assert(IsEarlyKind(kind));
  const TimesCurve times =
      TimesCurveOf(MeasureOf(kind), parts, scope, moment, {.half_life_days = half_life_days});
  const auto usual = times.curve.QuantileAt(kUsualShare);
  if (!usual || usual->at_risk < kFewestAtRisk * (1 - 1e-12)) return std::nullopt;
  return usual->bucket;
}

std::vector<DayCount> CountDays(ChartKind kind, const Series& series, Scope scope, Instant horizon,
                                std::optional<uint32_t> usual, Day from, Day to) {
  const bool early = IsEarlyKind(kind);
  assert(!early || usual);
  // Wholly over once a cohort has been watched for so long.
  const int64_t wait = early                        ? BucketEndMillis(*usual)
                       : kind == ChartKind::kDefect ? kClaimWatchDays * kMillisPerDay
                                                    : 0;
  const uint32_t by = early ? *usual : uint32_t{kClaimWatchDays};
  std::vector<DayCount> days;
  const auto first = std::lower_bound(series.begin(), series.end(), from,
                                      [](const Cohort& c, Day day) { return c.day < day; });
  for (auto cohort = first; cohort != series.end() && cohort->day <= to; ++cohort) {
    if (horizon - EndOf(cohort->day) < wait) break;
    DayCount count{cohort->day};
    if (kind == ChartKind::kLate) {
      const LateCount late = CountLate(cohort->cell, scope);
      count.orders = late.order_count;
      count.hits = late.late_count;
    } else {
      VisitTallies(cohort->cell, scope, [&](const Tally& tally) {
        CountBy(tally, by, kind == ChartKind::kDefect, count);
      });
    }
    if (count.orders > 0) days.push_back(count);
  }
  return days;
}

bool SeriesSubject::IsEarly() const { return IsEarlyKind(source_.kind); }

std::optional<Day> SeriesSubject::FirstDay() const {
  std::optional<Day> first;
  for (const auto& part : source_.parts) {
    if (!part->empty() && (!first || part->front().day < *first)) first = part->front().day;
  }
  return first;
}

std::optional<uint32_t> SeriesSubject::UsualOn(Day design_day) const {
  if (!usual_ || usual_->first != design_day) {
    const Instant start = StartOf(design_day);
    const Moment moment{start, start - source_.settle_delay, design_day - 1};
    usual_.emplace(design_day, UsualBucket(source_.kind, source_.parts, source_.scope, moment,
                                           source_.half_life_days));
  }
  return usual_->second;
}

std::optional<DesignBasis> SeriesSubject::BasisOn(Day design_day) const {
  auto basis = source_.basis_on(design_day);
  if (!basis || !IsEarly()) return basis;
  if (!UsualOn(design_day)) return std::nullopt;
  basis->prior = kBeyondUsual;
  return basis;
}

std::vector<DayCount> SeriesSubject::CountAgain(std::optional<uint32_t> usual, Day from,
                                                Day to) const {
  std::vector<DayCount> sum;
  for (const auto& part : source_.parts) {
    AddDays(sum, CountDays(source_.kind, *part, source_.scope, source_.horizon, usual, from, to));
  }
  return sum;
}

std::vector<DayCount> SeriesSubject::Counts(Day design_day, Day from, Day to) const {
  if (IsEarly()) {
    const auto usual = UsualOn(design_day);
    return usual ? CountAgain(usual, from, to) : std::vector<DayCount>();
  }
  if (source_.parts.size() < 2) return CountAgain({}, from, to);
  const Day next = counted_.empty() ? Day{0} : counted_.back().day + 1;
  for (const DayCount& count : CountAgain({}, next, to)) counted_.push_back(count);
  const auto is_before = [](const DayCount& count, Day day) { return count.day < day; };
  const auto first = std::lower_bound(counted_.begin(), counted_.end(), from, is_before);
  return {first, std::lower_bound(first, counted_.end(), to + 1, is_before)};
}

}  // namespace plumblane
