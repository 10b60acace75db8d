// The building blocks of bytes on disk, against published encodings, and what becomes of bytes that
// are no such thing.
#include "storage/bytes.h"

#include <gtest/gtest.h>

#include <limits>

#include "storage/storage_support.h"

namespace plumblane {
namespace {

using test::Hex;
using test::Packed;
using namespace std::string_view_literals;  // NOLINT: for zero bytes in literals

template <typename Write>
std::string Written(const Write& write) {
  ByteWriter writer;
  write(writer);
  return writer.Take();
}

// DWARF version 4, figure 22 (2, 127, 128, 129, 130, 12857), and the ends of the range.
TEST(Bytes, NumbersAreUnsignedLeb128) {
  struct Check {
    uint64_t value;
    const char* hex;
  };
  for (const Check& check : {Check{0, "00"}, Check{2, "02"}, Check{127, "7f"}, Check{128, "8001"},
                             Check{129, "8101"}, Check{130, "8201"}, Check{12857, "b964"},
                             Check{std::numeric_limits<uint64_t>::max(), "ffffffffffffffffff01"}}) {
    const std::string bytes = Written([&](ByteWriter& w) { w.Number(check.value); });
    EXPECT_EQ(Hex(bytes), check.hex);
    ByteReader reader(bytes);
    EXPECT_EQ(reader.Number(), check.value);
    EXPECT_TRUE(reader.done());
  }
}

// Zigzag as in the Protocol Buffers documentation, "Encoding", signed integers.
TEST(Bytes, SignedNumbersAreZigzag) {
  struct Check {
    int64_t value;
    uint64_t zigzag;
  };
  for (const Check& check : {Check{0, 0}, Check{-1, 1}, Check{1, 2}, Check{-2, 3},
                             Check{0x7fffffff, 0xfffffffe}, Check{-0x80000000LL, 0xffffffff},
                             Check{std::numeric_limits<int64_t>::max(), 0xfffffffffffffffe},
                             Check{std::numeric_limits<int64_t>::min(), 0xffffffffffffffff}}) {
    const std::string bytes = Written([&](ByteWriter& w) { w.Signed(check.value); });
    EXPECT_EQ(bytes, Written([&](ByteWriter& w) { w.Number(check.zigzag); })) << check.value;
    ByteReader reader(bytes);
    EXPECT_EQ(reader.Signed(), check.value);
    EXPECT_TRUE(reader.done());
  }
}

TEST(Bytes, TextIsItsLengthAndItsBytes) {
  const std::string bytes = Written([](ByteWriter& w) {
    w.Text("lotus");
    w.Text("");
    w.Text("a\0b"sv);
  });
  EXPECT_EQ(Hex(bytes), Packed("056c6f747573 00 03610062"));
  ByteReader reader(bytes);
  EXPECT_EQ(reader.Text(), "lotus");
  EXPECT_EQ(reader.Text(), "");
  EXPECT_EQ(reader.Text(), "a\0b"sv);
  EXPECT_TRUE(reader.done());
}

TEST(Bytes, FixedWidthsHaveTheMostSignificantByteFirst) {
  const std::string bytes = Written([](ByteWriter& w) {
    w.Big(0x0123456789abcdef, 8);
    w.Big(0x89abcdef, 4);
    w.Big(0xcdef, 2);
  });
  EXPECT_EQ(Hex(bytes), Packed("0123456789abcdef 89abcdef cdef"));
  ByteReader reader(bytes);
  EXPECT_EQ(reader.Big(8), 0x0123456789abcdefu);
  EXPECT_EQ(reader.Big(4), 0x89abcdefu);
  EXPECT_EQ(reader.Big(2), 0xcdefu);
  EXPECT_TRUE(reader.done());
}

TEST(Bytes, TextUpToAZeroSkipsTheZero) {
  ByteReader reader("harbour\0\0rest"sv);
  EXPECT_EQ(reader.UntilZero(), "harbour");
  EXPECT_EQ(reader.UntilZero(), "");
  EXPECT_TRUE(reader.ok());
  EXPECT_EQ(reader.UntilZero(), "");  // "rest" has no end
  EXPECT_FALSE(reader.ok());
}

TEST(Bytes, DoneIsOkWithNothingLeft) {
  ByteReader reader("\x01\x02"sv);
  EXPECT_EQ(reader.Byte(), 1);
  EXPECT_TRUE(reader.ok());
  EXPECT_FALSE(reader.done());
  EXPECT_EQ(reader.Byte(), 2);
  EXPECT_TRUE(reader.done());
}

TEST(Bytes, MalformedNumbersAreRefused) {
  for (const std::string_view bytes :
       {""sv, "\x80"sv, "\xff\xff\xff"sv,
        // More than 64 bits: the tenth byte may only be 1; there is no eleventh.
        "\xff\xff\xff\xff\xff\xff\xff\xff\xff\x02"sv,
        "\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"sv,
        "\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80"sv}) {
    ByteReader unsigned_reader(bytes), signed_reader(bytes);
    EXPECT_EQ(unsigned_reader.Number(), 0u) << Hex(bytes);
    EXPECT_FALSE(unsigned_reader.ok()) << Hex(bytes);
    EXPECT_EQ(signed_reader.Signed(), 0) << Hex(bytes);
    EXPECT_FALSE(signed_reader.ok()) << Hex(bytes);
  }
}

TEST(Bytes, AfterAnOverrunAllReadsGiveZeroOrEmpty) {
  const auto overrun = [](std::string_view bytes, const auto& read) {
    ByteReader reader(bytes);
    read(reader);
    EXPECT_FALSE(reader.ok());
    EXPECT_FALSE(reader.done());
    EXPECT_EQ(reader.Byte(), 0);
    EXPECT_EQ(reader.Number(), 0u);
    EXPECT_EQ(reader.Signed(), 0);
    EXPECT_EQ(reader.Big(4), 0u);
    EXPECT_EQ(reader.Text(), "");
    EXPECT_EQ(reader.UntilZero(), "");
  };
  overrun("", [](ByteReader& r) { EXPECT_EQ(r.Byte(), 0); });
  overrun("\x01\x02\x03"sv, [](ByteReader& r) { EXPECT_EQ(r.Big(4), 0u); });
  overrun(
      "\x04"
      "abc"sv,
      [](ByteReader& r) { EXPECT_EQ(r.Text(), ""); });
  overrun(
      "\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"
      "abc"sv,
      [](ByteReader& r) { EXPECT_EQ(r.Text(), ""); });
  overrun("abc", [](ByteReader& r) { EXPECT_EQ(r.UntilZero(), ""); });
}

}  // namespace
}  // namespace plumblane
