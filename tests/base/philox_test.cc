#include "base/philox.h"

#include <gtest/gtest.h>

#include <cmath>
#include <set>

namespace plumblane {
namespace {

// J. Salmon, M. Moraes, R. Dror, D. Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC 2011:
// known answers of their Random123, file kat_vectors, philox4x32 with 10 rounds, as copied by
// others.
static_assert(Philox({0, 0, 0, 0}, {0, 0}) ==
              PhiloxCounter{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8});
static_assert(Philox({~0u, ~0u, ~0u, ~0u}, {~0u, ~0u}) ==
              PhiloxCounter{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd});

TEST(PhiloxTest, EveryPartOfTheNameOfADrawCounts) {
  std::set<uint64_t> seen;
  const uint64_t one = 1, high = one << 32;
  for (const uint64_t part : {uint64_t{0}, one, high, high + one}) {
    seen.insert({RandomBits(part, 7, 7), RandomBits(7, part, 7), RandomBits(7, 7, part)});
  }
  EXPECT_EQ(seen.size(), 12u);
  EXPECT_EQ(RandomBits(0, 0, 0), 0xe169c58d'6627e8d5u);
}

// Means and correlations of what is uniform and independent, within five standard errors.
TEST(PhiloxTest, DrawsAndStreamsAreUniformAndIndependent) {
  constexpr int kDraws = 100'000;
  double sum = 0, squares = 0, along = 0, across = 0, least = 1, most = 0;
  for (int i = 0; i < kDraws; ++i) {
    const auto draw = static_cast<uint64_t>(i);
    const double x = Uniform(1, 1, draw);
    sum += x;
    squares += x * x;
    along += x * Uniform(1, 1, draw + 1);
    across += x * Uniform(1, 2, draw);
    least = std::fmin(least, x);
    most = std::fmax(most, x);
  }
  EXPECT_NEAR(sum / kDraws, 1 / 2.0, 5 * std::sqrt(1 / 12.0 / kDraws));
  EXPECT_NEAR(squares / kDraws, 1 / 3.0, 5 * std::sqrt(4 / 45.0 / kDraws));
  EXPECT_NEAR(along / kDraws, 1 / 4.0, 5 * std::sqrt((1 / 9.0 + 1 / 24.0) / kDraws));
  EXPECT_NEAR(across / kDraws, 1 / 4.0, 5 * std::sqrt(7 / 144.0 / kDraws));
  EXPECT_GT(least, 0);
  EXPECT_LT(least, 1e-4);
  EXPECT_GT(most, 1 - 1e-4);
  EXPECT_LT(most, 1);
}

}  // namespace
}  // namespace plumblane
