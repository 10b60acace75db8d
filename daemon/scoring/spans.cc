#include "scoring/spans.h"

#include <algorithm>
#include <cassert>
#include <utility>

#include "cohorts/buckets.h"

namespace plumblane {

size_t SpanSums::bytes() const {
  return sizeof *this + left.capacity() * sizeof left[0] + unknown.capacity() * sizeof unknown[0];
}

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

SpanSums SumSpan(std::span<const Cohort> cohorts, Code finish, Scope scope, Day anchor,
                 const DayWeights& weights, const Moment& moment, RiskSet& risk) {
  assert(!cohorts.empty() && cohorts.back().day <= anchor);
  SpanSums sums;
  sums.span = SpanOf(cohorts.front().day);
  uint32_t buckets = kLastBucket + 1;
  for (const Cohort& cohort : cohorts) {
    const double weight = weights.Of(anchor - cohort.day);
    buckets = BucketsWithin(WatchMillis(cohort.day, moment), buckets);
    sums.fault_count += FaultsIn(cohort.cell);
    int64_t unknown = 0;
    std::optional<uint32_t> longest;
    VisitTallies(cohort.cell, scope, [&](const Tally& tally) {
      sums.entered_count += tally.entered;
      const NotVisited rest = VisitKnown(tally, finish, buckets, [&](const Outcome& outcome) {
        longest = std::max(outcome.bucket, longest.value_or(0));
        if (outcome.code == finish) {
          sums.finished_count += outcome.count;
          risk.AddEvents(outcome.bucket, outcome.count, weight);
        } else {
          risk.AddCensored(outcome.bucket, outcome.count, weight);
        }
      });
      unknown += rest.orders;
      sums.all_known = sums.all_known && !rest.outcomes;
    });
    if (longest) {
      sums.longest = std::max(*longest, sums.longest.value_or(0));
      sums.known_from = std::max(sums.known_from, EndOf(cohort.day) + BucketEndMillis(*longest));
    }
    if (unknown > 0) sums.unknown.push_back({cohort.day, unknown});
  }
  return sums;
}

namespace {

size_t BytesOf(const KeptSpans::List& sums) {
  size_t bytes = 0;
  for (const auto& one : sums) bytes += one->bytes() + sizeof one;
  return bytes;
}

}  // namespace

KeptSpans::KeptSpans(const KeptSpans& other) {
  std::lock_guard lock(other.mutex_);
  bytes_ = other.bytes_;
  kept_ = other.kept_;
  for (Kept& kept : kept_) {
    if (kept.sums) kept.sums = std::make_shared<List>(*kept.sums);
  }
}

std::shared_ptr<const KeptSpans::List> KeptSpans::Of(Measure measure, double half_life_days) const {
  static const auto kNone = std::make_shared<const List>();
  std::lock_guard lock(mutex_);
  const Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  return kept.sums && kept.half_life_days == half_life_days ? kept.sums : kNone;
}

void KeptSpans::Keep(Measure measure, double half_life_days, List sums) {
  std::lock_guard lock(mutex_);
  Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  if (kept.sums) bytes_ -= BytesOf(*kept.sums);
  bytes_ += BytesOf(sums);
  // Somebody may still be going through those before.
  kept = {half_life_days, std::make_shared<List>(std::move(sums))};
}

void KeptSpans::Forget(Measure measure, Day day) {
  const Kept& kept = kept_[static_cast<size_t>(IndexOf(measure))];
  if (!kept.sums) return;
  const auto found = std::find_if(kept.sums->begin(), kept.sums->end(),
                                  [&](const auto& one) { return one->span == SpanOf(day); });
  if (found == kept.sums->end()) return;
  bytes_ -= (*found)->bytes() + sizeof *found;
  kept.sums->erase(found);
}

size_t KeptSpans::bytes() const {
  std::lock_guard lock(mutex_);
  return bytes_;
}

}  // namespace plumblane
