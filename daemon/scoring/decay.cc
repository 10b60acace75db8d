#include "scoring/decay.h"

#include <cassert>
#include <cmath>

namespace plumblane {

double DecayWeight(double age_days, double half_life_days) {
  assert(age_days >= 0 && half_life_days > 0);
  return std::exp2(-age_days / half_life_days);
}

DayWeights::DayWeights(double half_life_days) : half_life_days_(half_life_days) {
  assert(half_life_days > 0);
  static thread_local Known known;
  known_ = &known;
}

double DayWeights::Compute(int32_t age_days) const {
  if (known_->half_life_days != half_life_days_) {
    known_->half_life_days = half_life_days_;
    known_->weights.fill(-1);
  }
  const double weight = DecayWeight(age_days, half_life_days_);
  if (static_cast<size_t>(age_days) < kKeptDays) {
    known_->weights[static_cast<size_t>(age_days)] = weight;
  }
  return weight;
}

double WeightedSums::Mean() const {
  assert(w1 > 0);
  return s / w1;
}

double WeightedSums::EffectiveSize() const { return w2 > 0 ? w1 * w1 / w2 : 0; }

double WeightedSums::EffectiveHits() const { return w2 > 0 ? w1 * (s / w2) : 0; }

}  // namespace plumblane
