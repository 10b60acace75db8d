// Pages of cells: their bytes, back and forth, and damaged ones.
#include "storage/cell_codec.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <gtest/gtest.h>

#include <limits>
#include <random>

#include "storage/storage_support.h"

namespace plumblane {
namespace {

using test::Hex;
using test::Packed;

constexpr int32_t kPage = 1282;  // 2026 under 16 days a page

TEST(CellPages, EachHoldsTheSameNumberOfDays) {
  EXPECT_EQ(PageOf(Day{0}), 0);
  EXPECT_EQ(PageOf(Day{kDaysPerPage - 1}), 0);
  EXPECT_EQ(PageOf(Day{kDaysPerPage}), 1);
  EXPECT_EQ(PageOf(Day{-1}), -1);
  EXPECT_EQ(PageOf(Day{-kDaysPerPage}), -1);
  EXPECT_EQ(PageOf(Day{-kDaysPerPage - 1}), -2);
  for (int32_t number = -200; number <= 200; ++number) {
    const Day day{number}, first = FirstDayOf(PageOf(day));
    EXPECT_LE(first, day);
    EXPECT_LT(day, first + kDaysPerPage);
    EXPECT_EQ(PageOf(first), PageOf(day));
  }
}

// A day of each form: one order that nothing is known of, one that came late, outcomes of each kind
// of number, and excused only.
Series SamplePage() {
  const Day first = FirstDayOf(kPage);
  Cohort open{first, {}}, known{first + 3, {}}, many{first + 4, {}}, excused{first + 15, {}};
  open.cell.counted.entered = 1;
  known.cell.counted.entered = 1;
  known.cell.counted.Add(Code::kDeliveredLate, 569, 1);
  many.cell.counted.entered = 300;
  many.cell.counted.Add(Code::kDelivered, 0, 200);
  many.cell.counted.Add(Code::kDeliveredLate, 569, 1);
  many.cell.counted.Add(Code::kDeliveredLate, 570, 40);
  many.cell.counted.Add(Code::kClaim, PackCurrency("EUR"), -1375);
  excused.cell.excused.entered = 1;
  return {open, known, many, excused};
}

// The one place that holds bytes of a page. They change with kDaysPerPage, and not otherwise.
TEST(CellPages, GoldenBytes) {
  EXPECT_EQ(kDaysPerPage, 16) << "changes the format on disk";
  EXPECT_EQ(Hex(EncodePage(FirstDayOf(kPage), SamplePage())),
            Packed("20 "               // the first of the page: one order
                   "33 02 b904 "       // the fourth: one, delivered late, bucket 569
                   "44 d804 04 "       // the fifth: 300 entered, four outcomes
                   "01 01 00 9003 "    // delivered, of one bucket: 0, 200
                   "02 02 f308 "       // delivered late, of two: 2 * 569 + 1
                   "02 50 "            // and 2 * 1 above, 40
                   "22 01 e45a bd15 "  // claim, 2 * EUR = 2 * ((5*32 + 21)*32 + 18), -1375
                   "df "               // the last of the page and here
                   "00 00 "            // counted: nothing
                   "02 00"));          // excused: one entered
}

// The same as data formats 1 to 3 had it.
std::string SampleAsBefore() {
  return absl::HexStringToBytes(
      Packed("04 "            // four days
             "00 02 00 "      // the first: one entered, no outcomes
             "00 00 "         // excused: nothing
             "03 02 01 "      // the fourth: one
             "02 b904 02 "    // delivered late, bucket 569, 1
             "00 00 "         //
             "04 d804 04 "    // the fifth: 300 entered, four outcomes
             "01 00 9003 "    // delivered, bucket 0, 200
             "02 b904 02 "    // delivered late, bucket 569, 1
             "02 ba04 50 "    // delivered late, bucket 570, 40
             "22 b22d bd15 "  // claim, EUR, -1375
             "00 00 "         //
             "0f 00 00 "      // the last of the page: nothing counted
             "02 00"));       // excused: one entered
}

TEST(CellPages, AsTheyWereBeforeAreReadTheSame) {
  const std::string bytes = SampleAsBefore();
  const auto read = DecodePage(FirstDayOf(kPage), bytes);
  ASSERT_TRUE(read.ok()) << read.status();
  EXPECT_EQ(*read, SamplePage());
  for (size_t size = 0; size < bytes.size(); ++size) {
    EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bytes.substr(0, size)).status()))
        << size;
  }
}

TEST(CellPages, AreReadBack) {
  std::mt19937_64 random(1);
  const auto below = [&](int n) { return static_cast<int>(random() % static_cast<uint64_t>(n)); };
  for (int round = 0; round < 2000; ++round) {
    Series page;
    for (int offset = 0; offset < kDaysPerPage; ++offset) {
      Cohort cohort{FirstDayOf(kPage) + offset, {}};
      for (Tally* tally : {&cohort.cell.counted, &cohort.cell.excused}) {
        if (below(2)) tally->entered = below(3) == 0 ? 1 : below(1000) - 1;
        for (int outcomes = below(4); outcomes > 0; --outcomes) {
          const int64_t count =
              below(4) == 0 ? std::numeric_limits<int64_t>::min() : 1 + below(3) * below(100);
          tally->Add(static_cast<Code>(1 + below(below(2) ? 35 : 2)),
                     static_cast<uint32_t>(random()), count);
        }
      }
      if (!cohort.cell.empty()) page.push_back(cohort);
    }
    if (page.empty()) continue;
    const std::string bytes = EncodePage(FirstDayOf(kPage), page);
    const auto read = DecodePage(FirstDayOf(kPage), bytes);
    ASSERT_TRUE(read.ok()) << read.status();
    ASSERT_EQ(*read, page);
    ASSERT_EQ(EncodePage(FirstDayOf(kPage), *read), bytes);
  }
}

TEST(CellPages, CutShortOrTooLongAreDataLoss) {
  const std::string bytes = EncodePage(FirstDayOf(kPage), SamplePage());
  for (size_t size = 0; size < bytes.size(); ++size) {
    EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bytes.substr(0, size)).status()))
        << size;
  }
  EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bytes + '\0').status()));
}

TEST(CellPages, WithAnyBitFlippedAreRefusedOrCanBeWrittenNeverACrash) {
  const Day first = FirstDayOf(kPage);
  for (const std::string& bytes : {EncodePage(first, SamplePage()), SampleAsBefore()}) {
    int refused = 0;
    for (size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
      std::string flipped = bytes;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << (bit % 8)));
      const auto read = DecodePage(first, flipped);
      EXPECT_TRUE(read.ok() || absl::IsDataLoss(read.status())) << read.status();
      refused += read.ok() ? 0 : 1;
      if (!read.ok()) continue;
      const auto again = DecodePage(first, EncodePage(first, *read));
      ASSERT_TRUE(again.ok()) << "bit " << bit;
      EXPECT_EQ(*again, *read) << "bit " << bit;
    }
    EXPECT_GT(refused, 0);
  }
}

TEST(CellPages, WhatNoDaemonWritesIsDataLoss) {
  const struct {
    const char *what, *bytes;
  } kRows[] = {
      {"a form that there is not", "90"},
      {"a day twice", "20 a0"},
      {"days that descend", "21 a0"},
      {"a day without anything", "c0 00 00"},
      {"nothing excused, though it says so", "d0 00 00 00 00"},
      {"a bucket twice", "c0 04 02 01 02 03 01"},
      {"a bucket beyond the last, around to the first", "c0 04 02 01 02 05 ffffffff1f"},
      {"codes that descend", "c0 04 02 02 01 03 01 01 03"},
      {"more buckets than outcomes", "c0 04 01 01 02 03 03"},
      {"a code without buckets", "c0 04 01 01 00"},
      {"a count of nothing", "c0 02 01 01 01 02 00"},
      {"as before: no day", "00"},
      {"as before: a day beyond the page", "01 10 02 00 00 00"},
      {"as before: a day without anything", "01 00 00 00 00 00"},
      {"as before: a day twice", "02 00 02 00 00 00 00 02 00 00 00"},
      {"as before: buckets that descend", "01 00 04 02 01 05 02 01 04 02 00 00"},
  };
  for (const auto& [what, bytes] : kRows) {
    const auto read = DecodePage(FirstDayOf(kPage), absl::HexStringToBytes(Packed(bytes)));
    EXPECT_TRUE(absl::IsDataLoss(read.status())) << what;
  }
}

TEST(CellPages, ADayThatNoPageReachesIsDataLoss) {
  for (const char* offset : {"\xff\xff\xff\xff\x07", "\xff\xff\xff\xff\x0f",
                             "\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"}) {
    const std::string bytes = absl::StrCat("\x01", offset, std::string("\x02\x00\x00\x00", 4));
    EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bytes).status())) << Hex(bytes);
    // Also when nothing comes after it.
    const std::string bare = absl::StrCat("\x01", offset);
    EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bare).status())) << Hex(bare);
  }
}

TEST(CellPages, ClaimingToHoldVeryMuchAreRefusedAtOnce) {
  const std::string most = "\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01";
  for (const std::string& bytes : {most, std::string("\x01\x00\x02", 3) + most, "\xc0\x02" + most,
                                   "\xc0\x02\x01\x01" + most}) {
    EXPECT_TRUE(absl::IsDataLoss(DecodePage(FirstDayOf(kPage), bytes).status())) << Hex(bytes);
  }
}

}  // namespace
}  // namespace plumblane
