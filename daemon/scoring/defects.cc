#include "scoring/defects.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <memory>
#include <numeric>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "scoring/curve.h"
#include "scoring/decay.h"

namespace plumblane {
namespace {

size_t KindIndex(Code kind) {
  assert(IsDefect(kind));
  return static_cast<size_t>(kind) - static_cast<size_t>(Code::kDamaged);
}

using ByKind = std::array<double, DefectKinds::kCount>;

// Of one or more cohorts; weights relative to one day.
struct Counted {
  int64_t order_count = 0, hit_count = 0;
  double weight = 0, squares = 0;  // sums of w and w^2
  double hit_weight = 0;
};

// Orders that have all come to the end of the claim window.
struct DefectSpan final : KeptSpan {
  uint32_t window = 0;
  Counted counted;
  // Of the curve; empty where that is not asked for.
  std::vector<WeightLeft> left;
  struct Hits {
    uint32_t day;
    size_t kind;
    double weight;
  };
  std::vector<Hits> hits;
  size_t bytes() const override {
    return sizeof *this + left.capacity() * sizeof left[0] + hits.capacity() * sizeof hits[0];
  }
};

// Who leaves when, by defect or without, and by which kind; over days 0 .. window.
class Leaving {
 public:
  explicit Leaving(uint32_t window) : risk_(window + size_t{1}), kinds_(window + size_t{1}) {}

  void AddHits(const Outcome& hit, double weight) {
    risk_.AddEvents(hit.bucket, hit.count, weight);
    kinds_[hit.bucket][KindIndex(hit.code)] += weight * static_cast<double>(hit.count);
  }
  void AddOthers(uint32_t day, int64_t count, double weight) {
    risk_.AddCensored(day, count, weight);
  }
  void Add(const DefectSpan& span, double factor) {
    for (const WeightLeft& left : span.left) risk_.Add(left, factor);
    for (const auto& [day, kind, weight] : span.hits) kinds_[day][kind] += factor * weight;
  }

  void MoveInto(DefectSpan& span) {
    span.left = risk_.Left();
    for (const WeightLeft& left : span.left) {
      if (!(left.event > 0)) continue;
      const ByKind& hits = kinds_[left.bucket];
      for (size_t kind = 0; kind < hits.size(); ++kind) {
        if (hits[kind] > 0) span.hits.push_back({left.bucket, kind, hits[kind]});
      }
    }
  }
  Curve Estimate() { return risk_.Estimate(); }
  std::vector<ByKind> TakeKinds() { return std::move(kinds_); }

 private:
  RiskSet risk_;
  std::vector<ByKind> kinds_;
};

// As known `last_day` whole days after the promised one. `leaving`: null = not asked for.
void Count(const Cell& cell, Scope scope, uint32_t last_day, double weight, Counted& counted,
           Leaving* leaving) {
  VisitTallies(cell, scope, [&](const Tally& tally) {
    int64_t unknown = tally.entered;
    for (const Outcome& outcome : tally.outcomes) {
      const bool hit = IsDefect(outcome.code);
      if ((!hit && outcome.code != Code::kLeft) || outcome.bucket > last_day) continue;
      unknown -= outcome.count;
      if (!hit) {
        if (leaving) leaving->AddOthers(outcome.bucket, outcome.count, weight);
        continue;
      }
      counted.hit_count += outcome.count;
      counted.hit_weight += weight * static_cast<double>(outcome.count);
      if (leaving) leaving->AddHits(outcome, weight);
    }
    assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
    if (leaving) leaving->AddOthers(last_day, unknown, weight);
    counted.order_count += tally.entered;
    const double entered = weight * static_cast<double>(tally.entered);
    counted.weight += entered;
    counted.squares += weight * entered;
  });
}

DefectSpan SumOf(std::span<const Cohort> cohorts, Scope scope, Day anchor,
                 const DayWeights& weights, uint32_t window, bool with_curve) {
  DefectSpan sums;
  sums.span = SpanOf(cohorts.front().day);
  sums.window = window;
  std::optional<Leaving> leaving;
  if (with_curve) leaving.emplace(sums.window);
  for (const Cohort& cohort : cohorts) {
    Count(cohort.cell, scope, sums.window, weights.Of(anchor - cohort.day), sums.counted,
          leaving ? &*leaving : nullptr);
  }
  if (leaving) leaving->MoveInto(sums);
  return sums;
}

// All cohorts that are watched. `leaving`: null = not asked for, nor is anything kept then.
DefectExposure Walk(const Series& defect, Scope scope, const Moment& moment,
                    const ScoreRules& rules, KeptSpans* kept, Leaving* leaving) {
  assert(rules.claim_window_days >= 0 && (leaving || !kept));
  const auto window = static_cast<uint32_t>(rules.claim_window_days);
  DefectExposure exposure;
  exposure.window_days = rules.claim_window_days;
  const auto watched = Watched(defect, moment);
  if (watched.empty()) return exposure;
  // Later cohorts have come less far: days descend along the series.
  std::vector<DefectExposure::Reached>& reached = exposure.reached;
  DefectExposure::Reached youngest{-1};
  const auto close = [&] {
    if (youngest.weight > 0) reached.push_back(youngest);
  };
  const auto add = [&](uint32_t last_day, const Counted& counted, double factor) {
    if (youngest.day != static_cast<int>(last_day)) {
      close();
      youngest = {static_cast<int>(last_day)};
    }
    exposure.order_count += counted.order_count;
    exposure.hit_count += counted.hit_count;
    exposure.hit_weight += factor * counted.hit_weight;
    youngest.weight += factor * counted.weight;
    youngest.squares += factor * factor * counted.squares;
  };
  const auto reached_by = [&](Day day) {
    return static_cast<uint32_t>(
        std::min<int64_t>(WatchMillis(day, moment) / kMillisPerDay, window));
  };
  const CohortWeights weights(moment, rules);
  const DayWeights day_weights(rules.half_life_days);
  VisitSpans<DefectSpan>(
      watched, watched.back().day, Measure::kDefect, rules.half_life_days, kept,
      [&](std::span<const Cohort> span, Day anchor, bool whole, const DefectSpan* known) {
        std::shared_ptr<const DefectSpan> made;
        if (!whole || reached_by(anchor) < window) {
          for (const Cohort& cohort : span) {
            const uint32_t last_day = reached_by(cohort.day);
            Counted counted;
            Count(cohort.cell, scope, last_day, weights.On(cohort.day), counted, leaving);
            add(last_day, counted, 1);
          }
          return made;
        }
        std::optional<DefectSpan> fresh;
        if (!known || known->window != window) {
          fresh = SumOf(span, scope, anchor, day_weights, window, leaving != nullptr);
          known = &*fresh;
        }
        const double factor = weights.On(anchor);
        add(window, known->counted, factor);
        if (leaving) leaving->Add(*known, factor);
        if (fresh && kept) made = std::make_shared<const DefectSpan>(*std::move(fresh));
        return made;
      });
  close();
  std::reverse(reached.begin(), reached.end());
  return exposure;
}

struct DefectCounts {
  DefectExposure exposure;
  std::vector<ByKind> kinds;  // decayed defects by day and kind
  Curve curve;                // over days 0 .. window
};

DefectCounts CountDefects(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules, KeptSpans* kept) {
  Leaving leaving(static_cast<uint32_t>(rules.claim_window_days));
  DefectCounts counts;
  counts.exposure = Walk(defect, scope, moment, rules, kept, &leaving);
  counts.curve = leaving.Estimate();
  counts.kinds = leaving.TakeKinds();
  return counts;
}

// The defect share from `orders` with `hits`, both on the mode's own scale.
RateEstimate ShareFrom(const DefectCounts& counts, double hits, double orders,
                       const std::optional<Prior>& prior) {
  RateEstimate rate;
  rate.weight = orders;
  rate.order_count = counts.exposure.order_count;
  rate.hit_count = counts.exposure.hit_count;
  if (!counts.exposure.reached.empty())
    rate.observed =
        1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(counts.exposure.window_days));
  if (!prior) return rate;
  const Beta posterior = PosteriorOf(*prior, hits, orders);
  rate.posterior_a = posterior.a;
  rate.posterior_b = posterior.b;
  if (counts.exposure.order_count == 0) return rate;
  const Interval limits = posterior.Limits();
  rate.estimate = posterior.Mean();
  rate.low = limits.low;
  rate.high = limits.high;
  return rate;
}

std::optional<DefectKinds> KindsOf(const DefectCounts& counts) {
  if (counts.exposure.reached.empty()) return std::nullopt;
  DefectKinds kinds;
  double before = 1;
  for (const CurveStep& step : counts.curve.steps) {
    const auto& hits = counts.kinds[step.bucket];
    const double all = std::accumulate(hits.begin(), hits.end(), 0.0);
    for (size_t kind = 0; kind < DefectKinds::kCount; ++kind) {
      kinds.share[kind] += (before - step.survival) * (hits[kind] / all);
    }
    before = step.survival;
  }
  return kinds;
}

}  // namespace

double DelayCurve::ReachedBy(int days, int window_days) const {
  assert(days >= 0 && (share.empty() || std::ssize(share) == window_days + 1));
  const int day = std::min(days, window_days);
  if (share.empty() || share.back() <= 0) return (day + 1.0) / (window_days + 1.0);
  return share[day] / share.back();
}

DefectPrior PooledDefectPrior(const Series& total, const Moment& moment, const ScoreRules& rules,
                              Scope scope, KeptSpans* kept) {
  const DefectCounts counts = CountDefects(total, scope, moment, rules, kept);
  DefectPrior pooled;
  if (counts.exposure.order_count == 0) return pooled;
  for (int day = 0; day <= rules.claim_window_days; ++day) {
    pooled.delay.share.push_back(1 - counts.curve.SurvivalAfter(static_cast<uint32_t>(day)));
  }
  const WeightedSums sums = DefectSums(counts.exposure, pooled.delay);
  pooled.prior = Prior{std::min(1.0, PooledMean(sums.s, sums.w1)), kPooledStrength};
  return pooled;
}

DefectExposure ExposureOf(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules) {
  return Walk(defect, scope, moment, rules, nullptr, nullptr);
}

WeightedSums DefectSums(const DefectExposure& exposure, const DelayCurve& delay) {
  WeightedSums sums;
  for (const DefectExposure::Reached& one : exposure.reached) {
    const double shown = delay.ReachedBy(one.day, exposure.window_days);
    sums.w1 += one.weight * shown;
    sums.w2 += one.squares * shown;
  }
  sums.s = exposure.hit_weight;
  return sums;
}

double DefectKinds::Of(Code kind) const { return share[KindIndex(kind)]; }

DefectEstimate DefectsOf(const Series& defect, Scope scope, const std::optional<Prior>& prior,
                         const DelayCurve& delay, const Moment& moment, const ScoreRules& rules,
                         KeptSpans* kept) {
  const DefectCounts counts = CountDefects(defect, scope, moment, rules, kept);
  const WeightedSums sums = DefectSums(counts.exposure, delay);
  const bool average = rules.rate_mode == RateMode::kAverage;
  const RateEstimate rate =
      average ? ShareFrom(counts, sums.EffectiveHits(), sums.EffectiveSize(), prior)
              : ShareFrom(counts, sums.s, sums.w1, prior);
  return {rate, KindsOf(counts)};
}

}  // namespace plumblane
