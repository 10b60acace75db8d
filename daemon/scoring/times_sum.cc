#include "scoring/times_sum.h"

#include <algorithm>
#include <cassert>
#include <limits>

namespace plumblane {
namespace {

constexpr Instant kNever{std::numeric_limits<int64_t>::max()};

void TakeLater(const std::optional<uint32_t>& other, std::optional<uint32_t>& longest) {
  if (other) longest = std::max(*other, longest.value_or(0));
}

}  // namespace

int64_t FaultsIn(const Cell& cell) {
  int64_t count = 0;
  VisitTallies(cell, Scope::kWithExcused, [&](const Tally& tally) {
    // Sorted by code: mostly one look says that there is none.
    for (auto it = tally.outcomes.rbegin(); it != tally.outcomes.rend() && it->code >= Code::kFault;
         ++it) {
      if (it->code == Code::kFault) count += it->count;
    }
  });
  return count;
}

size_t TimesSums::bytes() const {
  return sizeof *this + left.capacity() * sizeof left[0] + unknown.capacity() * sizeof unknown[0];
}

void TimesSum::Count(std::span<const Cohort> cohorts, Day anchor, RiskSet& risk,
                     TimesSums& sums) const {
  assert(!cohorts.empty() && cohorts.back().day <= anchor);
  uint32_t buckets = BucketsWithin(WatchMillis(cohorts.front().day, moment_));
  for (const Cohort& cohort : cohorts) {
    const double weight = weights_.Of(anchor - cohort.day);
    buckets = BucketsWithin(WatchMillis(cohort.day, moment_), buckets);
    sums.fault_count += FaultsIn(cohort.cell);
    int64_t unknown = 0;
    std::optional<uint32_t> longest;
    VisitTallies(cohort.cell, scope_, [&](const Tally& tally) {
      sums.entered_count += tally.entered;
      sums.entered_weight += weight * static_cast<double>(tally.entered);
      const NotVisited rest = VisitKnown(tally, finish_, buckets, [&](const Outcome& outcome) {
        longest = std::max(outcome.bucket, longest.value_or(0));
        if (outcome.code == finish_) {
          sums.finished_count += outcome.count;
          risk.AddEvents(outcome.bucket, outcome.count, weight);
        } else {
          risk.AddCensored(outcome.bucket, outcome.count, weight);
        }
      });
      unknown += rest.orders;
      if (rest.outcomes) sums.known_from = kNever;
    });
    if (longest) {
      TakeLater(longest, sums.longest);
      sums.known_from = std::max(sums.known_from, EndOf(cohort.day) + BucketEndMillis(*longest));
    }
    if (unknown > 0) sums.unknown.push_back({cohort.day, unknown});
  }
}

TimesSums TimesSum::Make(std::span<const Cohort> cohorts, Day anchor) {
  TimesSums sums;
  Count(cohorts, anchor, span_, sums);
  sums.unknown.shrink_to_fit();
  sums.left = span_.Left();
  span_.Clear();
  return sums;
}

void TimesSum::Add(const TimesSums& sums) {
  for (const WeightLeft& left : sums.left) risk_.Add(left);
  AddRest(sums);
}

void TimesSum::AddRest(const TimesSums& sums) {
  rest_.unknown.insert(rest_.unknown.end(), sums.unknown.begin(), sums.unknown.end());
  rest_.entered_count += sums.entered_count;
  rest_.finished_count += sums.finished_count;
  rest_.entered_weight += sums.entered_weight;
  rest_.fault_count += sums.fault_count;
  TakeLater(sums.longest, rest_.longest);
  rest_.known_from = std::max(rest_.known_from, sums.known_from);
}

void TimesSum::Decay(int32_t days) {
  if (days == 0) return;
  const double factor = weights_.Of(days);
  risk_.Scale(factor);
  rest_.entered_weight *= factor;
}

TimesSums TimesSum::Total() const {
  TimesSums total = rest_;
  total.left = risk_.Left();
  return total;
}

void TimesSum::MoveInto(TimesSum& sum) {
  risk_.MoveInto(sum.risk_);
  sum.AddRest(rest_);
  rest_ = {};
}

TimesCurve TimesSum::CurveOn(Day newest) {
  TimesCurve times;
  times.entered_count = rest_.entered_count;
  times.finished_count = rest_.finished_count;
  times.fault_count = rest_.fault_count;
  times.entered_weight = rest_.entered_weight * weights_.Of(DayOf(moment_.now) - newest);
  if (rest_.longest) times.longest_watch_millis = BucketEndMillis(*rest_.longest);
  for (const auto& [day, count] : rest_.unknown) {
    const int64_t watch = WatchMillis(day, moment_);
    times.longest_watch_millis = std::max(watch, times.longest_watch_millis.value_or(0));
    // At risk in the buckets that lie within the watch.
    const uint32_t buckets = BucketsWithin(watch);
    if (buckets > 0) risk_.AddCensored(buckets - 1, count, weights_.Of(newest - day));
  }
  times.curve = risk_.Estimate();
  rest_ = {};
  return times;
}

}  // namespace plumblane
