#include "cohorts/buckets.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace plumblane {
namespace {

constexpr int64_t kFirstMillis = 60'000;

// Ends are whole milliseconds, so that which bucket a duration belongs to is decided in integers
// and is the same on every machine.
using Ends = std::array<int64_t, kLastBucket + 1>;

const Ends& BucketEnds() {
  static const Ends ends = [] {
    Ends built{};
    built[0] = kFirstMillis;
    for (uint32_t i = 1; i <= kLastBucket; ++i) {
      built[i] = static_cast<int64_t>(std::floor(std::pow(kBucketGamma, i) * 1000.0));
    }
    return built;
  }();
  return ends;
}

// The first bucket after bucket 0 that can hold anything: it contains 60 s.
uint32_t FirstBucket() {
  static const uint32_t first = [] {
    const Ends& ends = BucketEnds();
    const auto it = std::lower_bound(ends.begin() + 1, ends.end(), kFirstMillis);
    return static_cast<uint32_t>(it - ends.begin());
  }();
  return first;
}

}  // namespace

uint32_t BucketOf(int64_t millis) {
  assert(millis >= 0);
  if (millis < kFirstMillis) return 0;
  const Ends& ends = BucketEnds();
  const auto it = std::lower_bound(ends.begin() + FirstBucket(), ends.end(), millis);
  return it == ends.end() ? kLastBucket : static_cast<uint32_t>(it - ends.begin());
}

int64_t BucketEndMillis(uint32_t bucket) {
  assert(bucket <= kLastBucket);
  return BucketEnds()[bucket];
}

double BucketSeconds(uint32_t bucket) {
  if (bucket == 0) return 0;
  return 2 * std::pow(kBucketGamma, bucket) / (kBucketGamma + 1);
}

uint32_t BucketsWithin(int64_t millis) {
  if (millis < kFirstMillis) return 0;
  const Ends& ends = BucketEnds();
  const auto it = std::upper_bound(ends.begin() + FirstBucket(), ends.end(), millis);
  return static_cast<uint32_t>(it - ends.begin());
}

uint32_t BucketsWithin(int64_t millis, uint32_t most) {
  if (millis < kFirstMillis) return 0;
  const Ends& ends = BucketEnds();
  while (most > 0 && ends[most - 1] > millis) --most;
  return most;
}

}  // namespace plumblane
