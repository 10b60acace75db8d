#include "scoring/priors.h"

#include <utility>

namespace plumblane {

Priors PooledPriors(const Series& on_time_total, const Series& defect_total, const Moment& moment,
                    const ScoreRules& rules, Scope scope) {
  DefectPrior defect = PooledDefectPrior(defect_total, moment, rules, scope);
  return {PooledLatePrior(on_time_total, moment, rules, scope), defect.prior,
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

FleetPriors::FleetPriors(std::span<const PairOfFleet> pairs, Priors pooled)
    : pooled_(std::move(pooled)) {
  std::vector<RateRecord> late, defect;
  late.reserve(pairs.size());
  defect.reserve(pairs.size());
  for (const PairOfFleet& one : pairs) {
    late.push_back({one.pair, one.rates.on_time.Sums()});
    defect.push_back({one.pair, DefectSums(one.rates.defect, pooled_.defect_delay)});
  }
  late_ = FleetPrior::Fit(std::move(late));
  defect_ = FleetPrior::Fit(std::move(defect));
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
