#include "scoring/defects.h"

#include <algorithm>
#include <array>
#include <cassert>
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

// As known at a moment; the curve's part is empty where that is not asked for.
struct KeptDefects final : KeptSums {
  int64_t order_count = 0, hit_count = 0;
  double hit_weight = 0;
  std::vector<DefectExposure::Reached> reached;  // descending by day
  std::vector<WeightLeft> left;
  struct Hits {
    uint32_t day;
    size_t kind;
    double weight;
  };
  std::vector<Hits> hits;
  size_t bytes() const override {
    return sizeof *this + reached.capacity() * sizeof reached[0] +
           left.capacity() * sizeof left[0] + hits.capacity() * sizeof hits[0];
  }
};

// Who leaves when, by defect or without, and by which kind; over days 0 .. window.
class Leaving {
 public:
  explicit Leaving(uint32_t window) : risk_(window + size_t{1}), kinds_(window + size_t{1}) {}

  void AddHits(const Outcome& hit, double weight) {
    risk_.AddEvents(hit.bucket, hit.count, weight);
    AddKind({hit.bucket, KindIndex(hit.code), weight * static_cast<double>(hit.count)});
  }
  void AddOthers(uint32_t day, int64_t count, double weight) {
    risk_.AddCensored(day, count, weight);
  }
  void Add(const KeptDefects& span) {
    for (const WeightLeft& left : span.left) risk_.Add(left);
    for (const KeptDefects::Hits& hits : span.hits) AddKind(hits);
  }
  void Scale(double factor) {
    risk_.Scale(factor);
    for (size_t day = 0; day < end_; ++day) {
      for (double& weight : kinds_[day]) weight *= factor;
    }
  }

  void CopyInto(KeptDefects& span) const {
    span.left = risk_.Left();
    for (uint32_t day = 0; day < end_; ++day) {
      for (size_t kind = 0; kind < kinds_[day].size(); ++kind) {
        if (kinds_[day][kind] > 0) span.hits.push_back({day, kind, kinds_[day][kind]});
      }
    }
  }
  void MoveInto(KeptDefects& span) {
    CopyInto(span);
    risk_.Clear();
    for (const auto& hit : span.hits) kinds_[hit.day] = {};
    end_ = 0;
  }
  Curve Estimate() { return risk_.Estimate(); }
  std::vector<ByKind> TakeKinds() { return std::move(kinds_); }

 private:
  void AddKind(const KeptDefects::Hits& hits) {
    kinds_[hits.day][hits.kind] += hits.weight;
    end_ = std::max(end_, hits.day + 1);
  }

  RiskSet risk_;
  std::vector<ByKind> kinds_;
  uint32_t end_ = 0;  // no hits from that day on
};

// See AddUp (spans.h). Of cohorts that are watched.
class DefectSum {
 public:
  using Sums = KeptDefects;

  DefectSum(Scope scope, const Moment& moment, const ScoreRules& rules, bool with_curve)
      : scope_(scope),
        moment_(moment),
        window_(static_cast<uint32_t>(rules.claim_window_days)),
        weights_(rules.half_life_days) {
    assert(rules.claim_window_days >= 0);
    if (with_curve) all_.emplace(window_);
  }

  // Once all orders have come to the end of the claim window.
  bool MayHold(Day last) const { return all_ && ReachedBy(last) == window_; }
  bool Holds(const KeptDefects& sums) const { return MayHold(LastDayOf(sums.span)); }

  void Count(std::span<const Cohort> cohorts, Day anchor) {
    Count(cohorts, anchor, all_ ? &*all_ : nullptr, total_);
  }
  KeptDefects Make(std::span<const Cohort> cohorts, Day anchor) {
    KeptDefects sums;
    if (!span_) span_.emplace(window_);
    Count(cohorts, anchor, &*span_, sums);
    span_->MoveInto(sums);
    sums.hits.shrink_to_fit();
    return sums;
  }

  void Add(const KeptDefects& sums) {
    total_.order_count += sums.order_count;
    total_.hit_count += sums.hit_count;
    total_.hit_weight += sums.hit_weight;
    for (const auto& one : sums.reached) AddReached(one, total_);
    if (all_) all_->Add(sums);
  }

  void Decay(int32_t days) {
    if (days != 0) Scale(weights_.Of(days));
  }
  void Scale(double factor) {
    total_.hit_weight *= factor;
    for (auto& one : total_.reached) {
      one.weight *= factor;
      one.squares *= factor * factor;
    }
    if (all_) all_->Scale(factor);
  }

  KeptDefects Total() const {
    KeptDefects total = total_;
    if (all_) all_->CopyInto(total);
    return total;
  }

  bool with_curve() const { return all_.has_value(); }
  // REQUIRES: made with a curve. Nothing is left of that.
  Leaving& leaving() { return *all_; }

  DefectExposure Exposure() const {
    DefectExposure exposure;
    exposure.window_days = static_cast<int>(window_);
    exposure.order_count = total_.order_count;
    exposure.hit_count = total_.hit_count;
    exposure.hit_weight = total_.hit_weight;
    exposure.reached.assign(total_.reached.rbegin(), total_.reached.rend());
    std::erase_if(exposure.reached, [](const auto& one) { return !(one.weight > 0); });
    return exposure;
  }

 private:
  uint32_t ReachedBy(Day day) const {
    return static_cast<uint32_t>(
        std::clamp<int64_t>(WatchMillis(day, moment_) / kMillisPerDay, 0, window_));
  }

  // Later cohorts have come less far: days descend along the series.
  static void AddReached(const DefectExposure::Reached& one, KeptDefects& sums) {
    if (sums.reached.empty() || sums.reached.back().day != one.day) {
      sums.reached.push_back(one);
      return;
    }
    sums.reached.back().weight += one.weight;
    sums.reached.back().squares += one.squares;
  }

  void Count(std::span<const Cohort> cohorts, Day anchor, Leaving* leaving,
             KeptDefects& sums) const {
    for (const Cohort& cohort : cohorts) {
      Count(cohort.cell, ReachedBy(cohort.day), weights_.Of(anchor - cohort.day), leaving, sums);
    }
  }
  // As known `last_day` whole days after the promised one.
  void Count(const Cell& cell, uint32_t last_day, double weight, Leaving* leaving,
             KeptDefects& sums) const {
    DefectExposure::Reached reached{static_cast<int>(last_day), 0, 0};
    VisitTallies(cell, scope_, [&](const Tally& tally) {
      int64_t unknown = tally.entered;
      for (const Outcome& outcome : tally.outcomes) {
        const bool hit = IsDefect(outcome.code);
        if ((!hit && outcome.code != Code::kLeft) || outcome.bucket > last_day) continue;
        unknown -= outcome.count;
        if (!hit) {
          if (leaving) leaving->AddOthers(outcome.bucket, outcome.count, weight);
          continue;
        }
        sums.hit_count += outcome.count;
        sums.hit_weight += weight * static_cast<double>(outcome.count);
        if (leaving) leaving->AddHits(outcome, weight);
      }
      assert(unknown >= 0);  // more outcomes than entries: a bug, not a figure
      if (leaving) leaving->AddOthers(last_day, unknown, weight);
      sums.order_count += tally.entered;
      const double entered = weight * static_cast<double>(tally.entered);
      reached.weight += entered;
      reached.squares += weight * entered;
    });
    AddReached(reached, sums);
  }

  const Scope scope_;
  const Moment& moment_;
  const uint32_t window_;
  const DayWeights weights_;
  std::optional<Leaving> all_;   // none: no curve is asked for
  std::optional<Leaving> span_;  // of one, while it is made
  KeptDefects total_;            // without the curve's part
};

// All cohorts that are watched.
void AddUp(const Series& defect, const Moment& moment, const ScoreRules& rules, KeptSpans* kept,
           DefectSum& sum) {
  assert(!kept || sum.with_curve());
  const auto watched = Watched(defect, moment);
  if (watched.empty()) return;
  const Day newest = watched.back().day;
  AddUp(watched, newest, Measure::kDefect, {rules.half_life_days, rules.claim_window_days}, kept,
        sum);
  sum.Scale(CohortWeights(moment, rules).On(newest));
}

struct DefectCounts {
  DefectExposure exposure;
  Curve curve;                // over days 0 .. window
  std::vector<ByKind> kinds;  // decayed defects by day and kind
};

DefectCounts CountDefects(const Series& defect, Scope scope, const Moment& moment,
                          const ScoreRules& rules, KeptSpans* kept) {
  assert(!kept || scope == Scope::kCounted);
  DefectSum sum(scope, moment, rules, /*with_curve=*/true);
  AddUp(defect, moment, rules, kept, sum);
  return {sum.Exposure(), sum.leaving().Estimate(), sum.leaving().TakeKinds()};
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
    // What is too old to weigh anything by its kind may still do together.
    for (size_t kind = 0; all > 0 && kind < DefectKinds::kCount; ++kind) {
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
  DefectSum sum(scope, moment, rules, /*with_curve=*/false);
  AddUp(defect, moment, rules, nullptr, sum);
  return sum.Exposure();
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
  return {rate, KindsOf(counts), counts.exposure.hit_weight};
}

}  // namespace plumblane
