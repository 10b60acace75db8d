// Duration buckets of 1 % relative error.
//
// Bucket i >= 1 holds durations in (gamma^(i-1), gamma^i] seconds with gamma = 1.01/0.99 and stands
// for 2 gamma^i / (gamma + 1), which is within 1 % of every member. Durations below 60 s go to
// bucket 0, which stands for 0 s and ends at 60 s. Buckets are never merged, so counts can be taken
// out again exactly. Source: Masson, Rim, Lee, "DDSketch", PVLDB 12(12), 2019, 2195-2205.
//
// Pure and thread-safe.
#pragma once

#include <cstdint>

namespace plumblane {

inline constexpr double kBucketAlpha = 0.01;
inline constexpr double kBucketGamma = (1 + kBucketAlpha) / (1 - kBucketAlpha);

// Covers 64 years; longer durations are put into the last bucket.
inline constexpr uint32_t kLastBucket = 1071;

// The bucket of a duration. REQUIRES: millis >= 0.
uint32_t BucketOf(int64_t millis);

// Upper end of the bucket in milliseconds (inclusive).
int64_t BucketEndMillis(uint32_t bucket);

// The duration in seconds that the bucket stands for.
double BucketSeconds(uint32_t bucket);

// The number of buckets, counted from 0, that lie wholly within `millis`; 0 when none does. All
// buckets below the result have their upper end at or before `millis`.
uint32_t BucketsWithin(int64_t millis);

// The same when it is known to be at most `most`; steps down from there. For durations that fall.
// REQUIRES: most >= BucketsWithin(millis).
uint32_t BucketsWithin(int64_t millis, uint32_t most);

}  // namespace plumblane
