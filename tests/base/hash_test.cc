#include "base/hash.h"

#include <gtest/gtest.h>

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
  StableHash hash;
  hash.Number(0x64636261);
  EXPECT_EQ(hash.value(), HashOf(std::string_view("abcd\0\0\0\0", 8)));
}

}  // namespace
}  // namespace plumblane
