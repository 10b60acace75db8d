#include "base/hash.h"

#include <gtest/gtest.h>

#include <string>
#include <string_view>

namespace plumblane {
namespace {

constexpr uint64_t HashOf(std::string_view text) {
  StableHash hash;
  hash.Text(text);
  return hash.value();
}

// From the test vectors of the authors' reference code for FNV-1a with 64 bits, test_fnv.c.
static_assert(HashOf("") == 0xcbf29ce484222325u);
static_assert(HashOf("a") == 0xaf63dc4c8601ec8cu);
static_assert(HashOf("foobar") == 0x85944171f73967e8u);

TEST(StableHash, ANumberIsItsBytesTheLowestFirst) {
  constexpr uint64_t kNumbers[] = {
      0, 1, 0xFF, 0x100, 0x64636261, 0x6400000000, uint64_t{1} << 56, ~uint64_t{0}};
  for (const uint64_t number : kNumbers) {
    std::string bytes;
    for (uint64_t rest = number; bytes.size() < 8; rest >>= 8) {
      bytes.push_back(static_cast<char>(rest & 0xFF));
    }
    StableHash hash;
    hash.Number(number);
    EXPECT_EQ(hash.value(), HashOf(bytes)) << number;
  }
}

}  // namespace
}  // namespace plumblane
