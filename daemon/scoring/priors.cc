#include "scoring/priors.h"

#include <utility>

namespace plumblane {

Priors PooledPriors(const Series& on_time_total, const Series& defect_total, const Moment& moment,
                    const ScoreRules& rules, Scope scope, KeptSpans* kept) {
  DefectPrior defect = PooledDefectPrior(defect_total, moment, rules, scope, kept);
  return {PooledLatePrior(on_time_total, moment, rules, scope, kept), defect.prior,
          std::move(defect.delay)};
}

Moment EndedDays(const Moment& moment) {
  Moment ended = moment;
  ended.now = StartOf(DayOf(moment.now));
  ended.horizon = StartOf(DayOf(moment.horizon));
  return ended;
}

PairRates RatesOf(const Series& on_time, const Series& defect, Scope scope, const Moment& moment,
                  const ScoreRules& rules) {
  return {CountOnTime(on_time, scope, moment, rules), ExposureOf(defect, scope, moment, rules)};
}

PairSums SumsOf(const PairRates& rates, const Priors& pooled) {
  return {rates.on_time.Sums(), DefectSums(rates.defect, pooled.defect_delay)};
}

FleetPriors::FleetPriors(std::span<const PairOfFleet> pairs, Priors pooled)
    : pooled_(std::move(pooled)) {
  Fit(
      pairs.size(), [&](size_t i) -> const Pair& { return pairs[i].pair; },
      [&](size_t i) { return SumsOf(pairs[i].rates, pooled_); });
}

FleetPriors::FleetPriors(std::span<const Pair> pairs, std::span<const PairSums> sums, Priors pooled)
    : pooled_(std::move(pooled)) {
  Fit(
      pairs.size(), [&](size_t i) -> const Pair& { return pairs[i]; },
      [&](size_t i) { return sums[i]; });
}

void FleetPriors::Fit(size_t count, const auto& pair_at, const auto& sums_at) {
  // One after the other: of a large fleet the records take as much memory as its fits.
  const auto fit = [&](WeightedSums PairSums::*which) {
    std::vector<RateRecord> records;
    records.reserve(count);
    for (size_t i = 0; i < count; ++i) records.push_back({pair_at(i), sums_at(i).*which});
    return FleetPrior::Fit(std::move(records));
  };
  late_ = fit(&PairSums::late);
  defect_ = fit(&PairSums::defect);
}

Priors FleetPriors::Of(std::span<const Pair> pairs) const {
  Priors priors = pooled_;
  if (late_) priors.late = late_->PriorOfSum(pairs);
  if (defect_) priors.defect = defect_->PriorOfSum(pairs);
  return priors;
}

std::optional<FleetEvidence> FleetPriors::late_evidence() const {
  return late_ ? std::optional(late_->evidence()) : std::nullopt;
}

std::optional<FleetEvidence> FleetPriors::defect_evidence() const {
  return defect_ ? std::optional(defect_->evidence()) : std::nullopt;
}

}  // namespace plumblane
