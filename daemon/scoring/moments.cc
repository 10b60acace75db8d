#include "scoring/moments.h"

#include <algorithm>
#include <cassert>

namespace plumblane {
namespace {

constexpr double kNextToNothing = 1e-9;  // of the weight there was

}  // namespace

void WeightedMoments::Add(double value, double weight) {
  assert(weight >= 0);
  if (weight == 0) return;
  const double apart = value - mean_, step = apart * (weight / (w1_ + weight));
  mean_ += step;
  m2_ += w1_ * apart * step;
  w1_ += weight;
  w2_ += weight * weight;
}

void WeightedMoments::Remove(double value, double weight) {
  assert(weight >= 0);
  const double left = w1_ - weight;
  if (left <= kNextToNothing * w1_) {
    *this = {};
    return;
  }
  const double apart = value - mean_;
  mean_ -= apart * (weight / left);
  m2_ = std::max(0.0, m2_ - apart * apart * weight * (w1_ / left));
  w1_ = left;
  w2_ = std::max(0.0, w2_ - weight * weight);
}

void WeightedMoments::Merge(const WeightedMoments& other) {
  if (other.w1_ == 0) return;
  const double sum = w1_ + other.w1_, apart = other.mean_ - mean_;
  m2_ += other.m2_ + apart * apart * w1_ * (other.w1_ / sum);
  mean_ += apart * (other.w1_ / sum);
  w1_ = sum;
  w2_ += other.w2_;
}

void WeightedMoments::Fade(double factor) {
  assert(factor >= 0 && factor <= 1);
  w1_ *= factor;
  w2_ *= factor * factor;
  m2_ *= factor;
  if (w1_ == 0) *this = {};
}

double WeightedMoments::Mean() const {
  assert(w1_ > 0);
  return mean_;
}

double WeightedMoments::Variance() const {
  assert(w1_ > 0);
  return m2_ / w1_;
}

std::optional<double> WeightedMoments::SampleVariance() const {
  if (!(w1_ > 0)) return std::nullopt;
  const double rest = w1_ - w2_ / w1_;
  if (!(rest > kNextToNothing * w1_)) return std::nullopt;
  return m2_ / rest;
}

}  // namespace plumblane
