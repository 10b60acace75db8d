// Random numbers that are a function of what they are asked for: no state, no order of drawing.
//
// Philox4x32-10 turns a counter of four words and a key of two into four words that look random;
// any counter can be asked at any time, from any thread, and gives the same on every machine. A
// draw is named by a seed (the key), a stream (what it is for: a decision, a supplier, a round of a
// test) and its number within the stream. Streams are independent of each other, so that one more
// draw for one of them changes nothing for the others.
//
// Not for secrets. Distributions come from Uniform by their own inverse functions; those of the
// standard library differ from one library to the next.
//
// Source: J. Salmon, M. Moraes, R. Dror, D. Shaw, "Parallel random numbers: as easy as 1, 2, 3",
// SC11 (2011).
//
// Pure and thread-safe. About 10 ns a block.
#pragma once

#include <array>
#include <cstdint>

namespace plumblane {

using PhiloxCounter = std::array<uint32_t, 4>;
using PhiloxKey = std::array<uint32_t, 2>;

constexpr PhiloxCounter Philox(PhiloxCounter counter, PhiloxKey key) {
  constexpr int kRounds = 10;
  for (int round = 0; round < kRounds; ++round) {
    const uint64_t left = uint64_t{0xD2511F53} * counter[0];
    const uint64_t right = uint64_t{0xCD9E8D57} * counter[2];
    counter = {
        static_cast<uint32_t>(right >> 32) ^ counter[1] ^ key[0], static_cast<uint32_t>(right),
        static_cast<uint32_t>(left >> 32) ^ counter[3] ^ key[1], static_cast<uint32_t>(left)};
    key = {key[0] + 0x9E3779B9, key[1] + 0xBB67AE85};
  }
  return counter;
}

// 64 random bits.
constexpr uint64_t RandomBits(uint64_t seed, uint64_t stream, uint64_t draw) {
  const auto low = [](uint64_t x) { return static_cast<uint32_t>(x); };
  const auto high = [](uint64_t x) { return static_cast<uint32_t>(x >> 32); };
  const PhiloxCounter words =
      Philox({low(draw), high(draw), low(stream), high(stream)}, {low(seed), high(seed)});
  return uint64_t{words[1]} << 32 | words[0];
}

// Uniform between 0 and 1, both excluded: one of the 2^52 middles of equal steps.
constexpr double Uniform(uint64_t seed, uint64_t stream, uint64_t draw) {
  return (static_cast<double>(RandomBits(seed, stream, draw) >> 12) + 0.5) * 0x1p-52;
}

}  // namespace plumblane
