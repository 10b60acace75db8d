// A hash that is the same on every machine and in every version: for what is stored, and for picks
// that must come out the same again. Not for secrets.
//
// Source: FNV-1a, 64 bits; G. Fowler, L. Noll, K. Vo, D. Eastlake, RFC 9923.
//
// Pure; one object belongs to one thread.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace plumblane {

class StableHash {
 public:
  constexpr void Byte(unsigned char byte) { hash_ = (hash_ ^ byte) * kPrime; }
  constexpr void Text(std::string_view text) {
    for (const char c : text) Byte(static_cast<unsigned char>(c));
  }
  // Eight bytes, the lowest first. Zeros only multiply, so those at the end are one step.
  constexpr void Number(uint64_t value) {
    int left = 8;
    for (; value != 0; value >>= 8, --left) Byte(static_cast<unsigned char>(value));
    hash_ *= kPowers[left];
  }
  constexpr uint64_t value() const { return hash_; }

 private:
  static constexpr uint64_t kPrime = 0x100000001b3;
  static constexpr std::array<uint64_t, 9> kPowers = [] {
    std::array<uint64_t, 9> powers{1};
    for (size_t i = 1; i < powers.size(); ++i) powers[i] = powers[i - 1] * kPrime;
    return powers;
  }();

  uint64_t hash_ = 0xcbf29ce484222325u;
};

}  // namespace plumblane
