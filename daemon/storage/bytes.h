// The building blocks of our own bytes on disk.
//
//   number   unsigned LEB128: seven bits a byte, lowest first, high bit = more follow
//   signed   zigzag (0, -1, 1, -2 ...) as a number
//   text     number of bytes, then the bytes
//   big32, big16, big64   fixed width, most significant byte first, so that keys sort by value
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <string>
#include <string_view>

namespace plumblane {

class ByteWriter {
 public:
  // Makes room for so many bytes at once.
  explicit ByteWriter(size_t expected = 0) { bytes_.reserve(expected); }

  void Byte(uint8_t byte) { bytes_.push_back(static_cast<char>(byte)); }
  void Number(uint64_t value) {
    char digits[kMostDigits];
    size_t size = 0;
    for (; value >= 0x80; value >>= 7) digits[size++] = static_cast<char>(value | 0x80);
    digits[size++] = static_cast<char>(value);
    bytes_.append(digits, size);
  }
  void Signed(int64_t value) {
    Number((static_cast<uint64_t>(value) << 1) ^ static_cast<uint64_t>(value >> 63));
  }
  void Text(std::string_view text) {
    Number(text.size());
    bytes_.append(text);
  }
  void Raw(std::string_view text) { bytes_.append(text); }
  void Big(uint64_t value, int width) {
    char digits[sizeof value];
    for (size_t i = sizeof value; i-- > 0; value >>= 8) digits[i] = static_cast<char>(value);
    const auto size = static_cast<size_t>(width);
    bytes_.append(digits + sizeof digits - size, size);
  }
  std::string Take() { return std::move(bytes_); }

 private:
  static constexpr size_t kMostDigits = 10;  // of 64 bits, seven in each

  std::string bytes_;
};

// Reads what ByteWriter wrote. After any overrun or malformed number `ok()` is false and reads give
// zero or empty; check once at the end.
class ByteReader {
 public:
  explicit ByteReader(std::string_view bytes) : rest_(bytes) {}

  uint8_t Byte() {
    if (rest_.empty()) return static_cast<uint8_t>(Fail());
    const auto byte = static_cast<uint8_t>(rest_.front());
    rest_.remove_prefix(1);
    return byte;
  }
  uint64_t Number() {
    uint64_t value = 0;
    for (int shift = 0; shift < 64; shift += 7) {
      const uint8_t byte = Byte();
      if (shift == 63 && byte > 1) return Fail();
      value |= static_cast<uint64_t>(byte & 0x7F) << shift;
      if (byte < 0x80) return ok_ ? value : 0;
    }
    return Fail();
  }
  int64_t Signed() {
    const uint64_t value = Number();
    return static_cast<int64_t>((value >> 1) ^ (~(value & 1) + 1));
  }
  std::string_view Text() {
    const uint64_t size = Number();
    if (size > rest_.size()) {
      Fail();
      return {};
    }
    return Raw(static_cast<size_t>(size));
  }
  // Up to, not including, the next zero byte, which is skipped.
  std::string_view UntilZero() {
    const size_t end = rest_.find('\0');
    if (end == std::string_view::npos) {
      Fail();
      return {};
    }
    const std::string_view text = Raw(end);
    rest_.remove_prefix(1);
    return text;
  }
  uint64_t Big(int width) {
    uint64_t value = 0;
    for (int i = 0; i < width; ++i) value = (value << 8) | Byte();
    return ok_ ? value : 0;
  }

  // What was read is malformed.
  void Refuse() { Fail(); }

  bool ok() const { return ok_; }
  bool done() const { return ok_ && rest_.empty(); }

 private:
  uint64_t Fail() {
    ok_ = false;
    rest_ = {};
    return 0;
  }
  std::string_view Raw(size_t size) {
    const std::string_view text = rest_.substr(0, size);
    rest_.remove_prefix(size);
    return text;
  }

  std::string_view rest_;
  bool ok_ = true;
};

}  // namespace plumblane
