#include "alerting/chain.h"

#include <algorithm>
#include <cassert>
#include <cstddef>

namespace plumblane {

Chain::Chain(int states, int down, int up)
    : states_(states), down_(std::min(down, states - 1)), up_(std::min(up, states - 1)) {
  assert(states > 0 && down >= 0 && up >= 0);
  band_.assign(static_cast<size_t>(states) * static_cast<size_t>(down_ + 1 + up_), 0);
  for (int state = 0; state < states; ++state) At(band_, state, state) = 1;
}

double& Chain::At(std::vector<double>& band, int row, int column) const {
  return band[static_cast<size_t>(row) * static_cast<size_t>(down_ + 1 + up_) +
              static_cast<size_t>(column - row + down_)];
}

void Chain::Add(int from, int to, double probability) {
  assert(from >= 0 && from < states_ && to >= 0 && to < states_);
  assert(from - to <= down_ && to - from <= up_);
  At(band_, from, to) -= probability;
}

std::vector<double> Chain::ExpectedSteps() const {
  std::vector<double> band = band_;
  std::vector<double> steps(static_cast<size_t>(states_), 1);
  for (int pivot = 0; pivot < states_; ++pivot) {
    const double* top = &At(band, pivot, pivot);
    assert(*top > 0);
    const int reach = std::min(up_, states_ - 1 - pivot);
    for (int row = pivot + 1; row <= std::min(pivot + down_, states_ - 1); ++row) {
      double* below = &At(band, row, pivot);
      if (*below == 0) continue;
      const double factor = *below / *top;
      for (int i = 1; i <= reach; ++i) below[i] -= factor * top[i];
      steps[static_cast<size_t>(row)] -= factor * steps[static_cast<size_t>(pivot)];
    }
  }
  for (int row = states_ - 1; row >= 0; --row) {
    const double* top = &At(band, row, row);
    double* own = &steps[static_cast<size_t>(row)];
    for (int i = 1; i <= std::min(up_, states_ - 1 - row); ++i) *own -= top[i] * own[i];
    *own /= *top;
  }
  return steps;
}

}  // namespace plumblane
