// A hash that is the same on every machine and in every version: for what is stored, and for picks
// that must come out the same again. Not for secrets.
//
// Source: FNV-1a, 64 bits; G. Fowler, L. Noll, K. Vo, D. Eastlake, RFC 9923.
//
// Pure; one object belongs to one thread.
#pragma once

#include <cstdint>
#include <string_view>

namespace plumblane {

class StableHash {
 public:
  constexpr void Byte(unsigned char byte) { hash_ = (hash_ ^ byte) * 0x100000001b3u; }
  constexpr void Text(std::string_view text) {
    for (const char c : text) Byte(static_cast<unsigned char>(c));
  }
  // Eight bytes, the lowest first.
  constexpr void Number(uint64_t value) {
    for (int i = 0; i < 8; ++i) Byte(static_cast<unsigned char>(value >> (8 * i)));
  }
  constexpr uint64_t value() const { return hash_; }

 private:
  uint64_t hash_ = 0xcbf29ce484222325u;
};

}  // namespace plumblane
