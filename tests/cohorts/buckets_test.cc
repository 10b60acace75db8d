// Duration buckets against their definition, ceil(log_gamma x), and against published figures of
// the sketch they come from.
#include "cohorts/buckets.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

namespace plumblane {
namespace {

constexpr int64_t kMinute = 60'000;

// By the definition, in the widest numbers there are.
uint32_t NaiveBucket(int64_t millis) {
  if (millis < kMinute) return 0;
  const long double seconds = static_cast<long double>(millis) / 1000;
  return static_cast<uint32_t>(std::ceil(std::log(seconds) / std::log(1.01L / 0.99L)));
}

// Durations from a minute to the end of the last bucket, each 0.3 % longer than the one before, and
// random ones between.
std::vector<int64_t> Sweep() {
  std::vector<int64_t> sweep;
  std::mt19937_64 random(1);
  const int64_t longest = BucketEndMillis(kLastBucket);
  for (int64_t millis = kMinute; millis < longest; millis += millis * 3 / 1000) {
    sweep.push_back(millis);
    const auto step = static_cast<uint64_t>(millis * 3 / 1000);
    sweep.push_back(std::min(longest, millis + 1 + static_cast<int64_t>(random() % step)));
  }
  return sweep;
}

TEST(Buckets, AreTheCeilingOfTheLogarithm) {
  ASSERT_GT(Sweep().size(), 10'000u);
  for (const int64_t millis : Sweep()) {
    ASSERT_EQ(BucketOf(millis), NaiveBucket(millis)) << millis << " ms";
  }
}

TEST(Buckets, HoldTheirUpperEndAndNotTheNextMillisecond) {
  for (uint32_t bucket = 205; bucket < kLastBucket; ++bucket) {
    const int64_t end = BucketEndMillis(bucket);
    ASSERT_EQ(BucketOf(end), bucket);
    ASSERT_EQ(BucketOf(end + 1), bucket + 1);
  }
}

TEST(Buckets, BelowAMinuteThereIsOneThatStandsForZero) {
  for (const int64_t millis : {int64_t{0}, int64_t{1}, int64_t{59'999}}) {
    EXPECT_EQ(BucketOf(millis), 0u) << millis;
  }
  EXPECT_EQ(BucketSeconds(0), 0);
  EXPECT_EQ(BucketEndMillis(0), kMinute);
  EXPECT_EQ(BucketOf(kMinute), 205u);
}

TEST(Buckets, TheLastTakesAllThatIsLonger) {
  EXPECT_EQ(BucketOf(BucketEndMillis(kLastBucket)), kLastBucket);
  EXPECT_EQ(BucketOf(BucketEndMillis(kLastBucket) + 1), kLastBucket);
  EXPECT_EQ(BucketOf(std::numeric_limits<int64_t>::max()), kLastBucket);
  constexpr double kMillisPerYear = 365.25 * 86'400'000;
  EXPECT_NEAR(static_cast<double>(BucketEndMillis(kLastBucket)) / kMillisPerYear, 64, 0.5);
}

TEST(Buckets, StandForEveryMemberWithinOnePercent) {
  for (const int64_t millis : Sweep()) {
    const double seconds = static_cast<double>(millis) / 1000;
    ASSERT_LE(std::abs(BucketSeconds(BucketOf(millis)) - seconds), 0.01 * seconds) << millis;
  }
}

// C. Masson, J. Rim, H. Lee, "DDSketch", PVLDB 12(12), 2019: gamma = (1 + alpha)/(1 - alpha), index
// ceil(log_gamma x), representative 2 gamma^i / (gamma + 1). Figures for alpha = 0.01 worked out
// with R 4.2.2.
TEST(Buckets, IndexAndRepresentativeOfTheSketch) {
  EXPECT_NEAR(kBucketGamma, 1.02020202020, 1e-11);
  EXPECT_NEAR(std::log(kBucketGamma), 0.0200006667067, 1e-13);
  struct Check {
    int64_t seconds;
    uint32_t bucket;
    double stands_for;
  };
  for (const Check& check :
       {Check{60, 205, 59.7450498101}, Check{3600, 410, 3605.52623921},
        Check{86'400, 569, 86'710.3922657}, Check{1'209'600, 701, 1'215'197.3208}}) {
    EXPECT_EQ(BucketOf(check.seconds * 1000), check.bucket);
    EXPECT_NEAR(BucketSeconds(check.bucket) / check.stands_for, 1, 1e-11);
  }
}

TEST(Buckets, WithinADurationAreThoseThatEndByThen) {
  EXPECT_EQ(BucketsWithin(0), 0u);
  EXPECT_EQ(BucketsWithin(kMinute - 1), 0u);
  EXPECT_EQ(BucketsWithin(kMinute), 205u);  // bucket 0 and 204 that hold nothing
  for (uint32_t bucket = 205; bucket <= kLastBucket; ++bucket) {
    ASSERT_EQ(BucketsWithin(BucketEndMillis(bucket)), bucket + 1);
    ASSERT_EQ(BucketsWithin(BucketEndMillis(bucket) - 1), bucket);
  }
  EXPECT_EQ(BucketsWithin(std::numeric_limits<int64_t>::max()), kLastBucket + 1);
}

TEST(Buckets, WithinAndEndAgreeForWhateverDurationAndBucket) {
  std::mt19937_64 random(2);
  const std::vector<int64_t> sweep = Sweep();
  for (int i = 0; i < 200'000; ++i) {
    const int64_t watch = sweep[random() % sweep.size()] + static_cast<int64_t>(random() % 3) - 1;
    const uint32_t bucket = BucketOf(sweep[random() % sweep.size()]);
    ASSERT_EQ(bucket < BucketsWithin(watch), BucketEndMillis(bucket) <= watch)
        << "bucket " << bucket << " within " << watch << " ms";
  }
}

TEST(Buckets, SteppingDownFromMoreFindsTheSameBuckets) {
  std::vector<int64_t> falling = Sweep();
  for (const int64_t at : {0L, kMinute - 1, kMinute, kMinute + 1}) falling.push_back(at);
  std::sort(falling.rbegin(), falling.rend());
  uint32_t buckets = kLastBucket + 1;
  for (const int64_t watch : falling) {
    buckets = BucketsWithin(watch, buckets);
    ASSERT_EQ(buckets, BucketsWithin(watch)) << watch << " ms";
    ASSERT_EQ(BucketsWithin(watch, kLastBucket + 1), buckets) << watch << " ms";
  }
}

}  // namespace
}  // namespace plumblane
