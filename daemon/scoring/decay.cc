#include "scoring/decay.h"

#include <cassert>
#include <cmath>

namespace plumblane {

double DecayWeight(double age_days, double half_life_days) {
  assert(age_days >= 0 && half_life_days > 0);
  return std::exp2(-age_days / half_life_days);
}

void WeightedSums::Add(double weight, int64_t count, double total) {
  w1 += weight * static_cast<double>(count);
  w2 += weight * weight * static_cast<double>(count);
  s += weight * total;
}

double WeightedSums::Mean() const {
  assert(w1 > 0);
  return s / w1;
}

double WeightedSums::EffectiveSize() const { return w2 > 0 ? w1 * w1 / w2 : 0; }

double WeightedSums::EffectiveHits() const { return w2 > 0 ? w1 * (s / w2) : 0; }

}  // namespace plumblane
