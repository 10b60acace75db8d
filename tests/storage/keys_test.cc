// Keys: their bytes, what reads them back, and that each prefix covers exactly what it names.
#include "storage/keys.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <set>
#include <vector>

#include "storage/cell_codec.h"
#include "storage/storage_support.h"

namespace plumblane {
namespace {

using test::Hex;
using test::Packed;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::UnorderedElementsAre;

const OrderKey kOrder{"harbour", "1042"};
const Lane kLane{"VN", "DE", "express"};
const Pair kPair{"lotus", kLane};

// Texts as hex, for reading the golden bytes below.
constexpr char kHarbour[] = "686172626f7572";
constexpr char k1042[] = "31303432";
constexpr char kLotus[] = "6c6f747573";
constexpr char kVnDeExpress[] = "564e00 444500 6578707265737300";

// The parts one after the other, without blanks.
template <typename... Parts>
std::string Golden(const Parts&... parts) {
  return Packed(absl::StrCat(parts...));
}

PartState Part() {
  PartState part;
  part.part = 2;
  part.supplier = "lotus";
  part.lane = kLane;
  part.paid = Instant{1};
  part.promised_day = Day{20'517};  // 0x5025
  return part;
}

std::vector<std::string> IndexHex(const PartState& part) {
  std::vector<std::string> hex;
  for (const std::string& key : IndexKeys(kOrder, part)) hex.push_back(Hex(key));
  return hex;
}

TEST(Keys, OfOrdersAndLogEntries) {
  EXPECT_EQ(Hex(OrderRecordKey(kOrder)), Golden(kHarbour, "00", k1042));
  EXPECT_EQ(Hex(LogKey(1)), "0000000000000001");
  EXPECT_EQ(Hex(LogKey(0x0123456789abcdef)), "0123456789abcdef");
}

TEST(Keys, OfCellPages) {
  const Day day{20'517};
  const std::string page = absl::StrFormat("%08x", day.number / kDaysPerPage);
  EXPECT_EQ(Hex(CellPageKey({kPair, Measure::kResponse, day})),
            Golden(kLotus, "00", kVnDeExpress, "06", page));
  EXPECT_EQ(Hex(CellPageKey({{"lotus", {"VN", "DE", ""}}, Measure::kOnTime, Day{0}})),
            Golden(kLotus, " 00 564e00 444500 00 01 00000000"));
  // The sum over all pairs.
  EXPECT_EQ(Hex(CellPageKey({{}, Measure::kDefect, Day{0}})), Packed("00 00 00 00 02 00000000"));
}

TEST(Keys, OfPairsSuppliersSourcesAndExcuses) {
  EXPECT_EQ(Hex(PairKey(kPair)), Golden("70", kVnDeExpress, kLotus));
  EXPECT_EQ(Hex(SupplierKey("lotus")), Golden("73", kLotus));
  EXPECT_EQ(SourceKey("harbour export"), "source/harbour export");
  EXPECT_EQ(ExcuseKey("strike"), "excuse/strike");
  EXPECT_EQ(Hex(AgreementKey(258, 3)), Packed("61677265656d656e742f 0000000000000102 00000003"));
  EXPECT_EQ(kFormatKey, "format");
  EXPECT_EQ(kProgressKey, "progress");
}

TEST(Keys, OfOrdersNoLongerKept) {
  // FNV-1a of the record key after a byte 1, and after a byte 2.
  EXPECT_EQ(Hex(GoneKey(kOrder)), "78c2cd7aa0b9db478e5d23ba322149ed87");
  EXPECT_EQ(Hex(GonePairKey(kPair)), Golden("79", kVnDeExpress, kLotus));
  EXPECT_EQ(ParseGonePairKey(GonePairKey(kPair)).value(), kPair);
  const CellKey cell{kPair, Measure::kResponse, Day{20'517}};
  EXPECT_EQ(GonePageKey(cell), "z" + CellPageKey(cell));
  EXPECT_EQ(ParseGonePageKey(GonePageKey(cell))->pair, kPair);
  EXPECT_FALSE(ParseGonePageKey(CellPageKey(cell)).ok());
}

TEST(Keys, OfTrackingNumbersDueDaysAndOpenOrders) {
  PartState part = Part();
  part.tracking = {"TRK1", "TRK2"};
  EXPECT_THAT(
      IndexHex(part),
      UnorderedElementsAre(
          Golden("74 54524b31 00 ", kHarbour, "00", k1042, " 00 0002"),
          Golden("74 54524b32 00 ", kHarbour, "00", k1042, " 00 0002"),
          Golden("64", kVnDeExpress, "00005025", kHarbour, "00", k1042, " 00 0002"),
          Golden("6f", kLotus, "00", kVnDeExpress, "00005025", kHarbour, "00", k1042, " 00 0002")));
}

TEST(Keys, OfClaims) {
  PartState part = Part();
  part.promised_day.reset();
  part.paid.reset();
  part.disputed = StartOf(Day{20'517});
  EXPECT_THAT(IndexHex(part), ElementsAre(Golden("63", kLotus, "00", kVnDeExpress, "00005025",
                                                 kHarbour, "00", k1042, " 00 0002")));
  part.disputed.reset();
  part.deadline = StartOf(Day{20'516});
  part.delivered = StartOf(Day{20'517});
  EXPECT_THAT(IndexHex(part), ElementsAre(Golden("6c", kLotus, "00", kVnDeExpress, "00005025",
                                                 kHarbour, "00", k1042, " 00 0002")));
}

TEST(Keys, OfPairsByDayAreReadBackAndNested) {
  EXPECT_EQ(Hex(PairIndexPrefix(PairIndex::kOpen)), "6f");
  EXPECT_EQ(Hex(PairIndexPrefix(PairIndex::kOpen, "lotus")), Golden("6f", kLotus, "00"));
  EXPECT_EQ(Hex(PairIndexPrefix(PairIndex::kClaims, kPair)),
            Golden("63", kLotus, "00", kVnDeExpress));
  EXPECT_EQ(Hex(PairIndexFrom(PairIndex::kUnclaimed, kPair, Day{20'517})),
            Golden("6c", kLotus, "00", kVnDeExpress, "00005025"));
  const std::string key = IndexKeys(kOrder, Part()).at(1);
  const auto read = ParsePairIndexKey(key);
  ASSERT_TRUE(read.ok()) << read.status();
  EXPECT_EQ(read->pair, kPair);
  EXPECT_EQ(read->day, Day{20'517});
  EXPECT_EQ(read->part.order, kOrder);
  EXPECT_EQ(read->part.part, 2);
  PartState unpromised = Part();
  unpromised.promised_day.reset();
  EXPECT_EQ(ParsePairIndexKey(IndexKeys(kOrder, unpromised).at(0))->day, std::nullopt);
}

TEST(Keys, OfAssignments) {
  EXPECT_EQ(Hex(AssignmentKey(kOrder, 2)), Golden("61", kHarbour, "00", k1042, " 00 0002"));
  EXPECT_EQ(Hex(AssignedKey({1'772'719'200'000}, kOrder, 2)),
            Golden("62 fffffe6341b3a8ff", kHarbour, "00", k1042, " 00 0002"));
}

TEST(Keys, AssignmentsAscendFromTheLatest) {
  std::vector<std::string> keys;
  for (const int64_t millis :
       {kLatestInstant.millis, int64_t{1} << 32, int64_t{256}, int64_t{255}, int64_t{0}}) {
    keys.push_back(AssignedKey({millis}, kOrder, 1));
    const auto read = ParseAssignedKey(keys.back());
    ASSERT_TRUE(read.ok()) << read.status();
    EXPECT_EQ(read->time.millis, millis);
    EXPECT_EQ(read->part.order, kOrder);
    EXPECT_TRUE(keys.back().starts_with(AssignedKeyFrom({millis})));
  }
  EXPECT_TRUE(std::is_sorted(keys.begin(), keys.end()));
}

TEST(Keys, AnOpenOrderWithoutPromiseIsListedLast) {
  PartState part = Part();
  part.promised_day.reset();
  EXPECT_THAT(IndexHex(part), ElementsAre(Golden("6f", kLotus, "00", kVnDeExpress, "ffffffff",
                                                 kHarbour, "00", k1042, " 00 0002")));
}

TEST(Keys, OnlyAnOrderUnderWayIsOpen) {
  const auto kinds = [](const auto& change) {
    PartState part = Part();
    change(part);
    std::string letters;
    for (const std::string& key : IndexKeys(kOrder, part)) letters += key[0];
    std::sort(letters.begin(), letters.end());
    return letters;
  };
  EXPECT_EQ(kinds([](PartState&) {}), "do");
  EXPECT_EQ(kinds([](PartState& p) { p.shipped = Instant{2}; }), "do");
  EXPECT_EQ(kinds([](PartState& p) { p.paid.reset(); }), "d");
  EXPECT_EQ(kinds([](PartState& p) { p.delivered = Instant{2}; }), "d");
  EXPECT_EQ(kinds([](PartState& p) { p.cancelled = Instant{2}; }), "d");
  EXPECT_EQ(kinds([](PartState& p) { p.refunded_by_supplier = Instant{2}; }), "d");
  EXPECT_EQ(kinds([](PartState& p) { p.disputed = Instant{2}; }), "cdo");
  EXPECT_EQ(kinds([](PartState& p) { p.disputed = p.answered = Instant{2}; }), "do");
  // While supplier or lane are unknown it can be found by tracking number only.
  EXPECT_EQ(kinds([](PartState& p) { p.supplier.clear(); }), "");
  EXPECT_EQ(kinds([](PartState& p) {
              p.lane.origin.clear();
              p.tracking = {"TRK1"};
            }),
            "t");
}

TEST(Keys, AreReadBack) {
  for (const Pair& pair : {kPair, Pair{"a b", {"VN", "DE", ""}}, Pair{}}) {
    EXPECT_EQ(ParsePairKey(PairKey(pair)).value(), pair);
    for (int i = 1; i <= kMeasureCount; ++i) {
      for (const int32_t number : {-1'000'000, -1, 0, 15, 16, 20'517, 2'932'896}) {
        const CellKey key{pair, static_cast<Measure>(i), Day{number}};
        const auto page = ParseCellPageKey(CellPageKey(key));
        ASSERT_TRUE(page.ok()) << page.status();
        EXPECT_EQ(page->pair, key.pair);
        EXPECT_EQ(page->measure, key.measure);
        EXPECT_EQ(page->first_day, FirstDayOf(PageOf(key.day)));
      }
    }
  }
  PartState part = Part();
  part.part = kMaxPart;
  part.tracking = {"TRK1"};
  const std::vector<std::string> keys = IndexKeys(kOrder, part);
  const IndexedPart tracked = ParseTrackingKey(keys.at(0)).value();
  EXPECT_EQ(tracked.order, kOrder);
  EXPECT_EQ(tracked.part, kMaxPart);
  const DuePart due = ParseDueKey(keys.at(1)).value();
  EXPECT_EQ(due.day, Day{20'517});
  EXPECT_EQ(due.part.order, kOrder);
  EXPECT_EQ(due.part.part, kMaxPart);
}

TEST(Keys, CutShortOrTooLongAreDataLoss) {
  PartState part = Part();
  part.tracking = {"TRK1"};
  const std::vector<std::string> keys = IndexKeys(kOrder, part);
  const std::string page = CellPageKey({kPair, Measure::kOnTime, Day{20'517}});
  const auto tracking = [](auto key) { return ParseTrackingKey(key).status(); };
  const auto due = [](auto key) { return ParseDueKey(key).status(); };
  const auto cells = [](auto key) { return ParseCellPageKey(key).status(); };
  const auto expect_whole = [](const std::string& key, const auto& parse) {
    EXPECT_TRUE(parse(std::string_view(key)).ok());
    for (size_t size = 0; size < key.size(); ++size) {
      EXPECT_TRUE(absl::IsDataLoss(parse(std::string_view(key).substr(0, size)))) << size;
    }
    EXPECT_TRUE(absl::IsDataLoss(parse(std::string_view(key + "x"))));
  };
  expect_whole(keys.at(0), tracking);
  expect_whole(keys.at(1), due);
  expect_whole(page, cells);
  expect_whole(keys.at(2), [](auto key) { return ParsePairIndexKey(key).status(); });
  expect_whole(AssignedKey({1}, kOrder, 2),
               [](auto key) { return ParseAssignedKey(key).status(); });
  EXPECT_TRUE(absl::IsDataLoss(ParsePairKey("").status()));
  EXPECT_TRUE(absl::IsDataLoss(ParsePairKey("slotus").status()));
  EXPECT_TRUE(absl::IsDataLoss(ParsePairKey("pVN").status()));
  EXPECT_TRUE(absl::IsDataLoss(ParsePairKey(PairKey(kPair) + std::string(1, '\0')).status()));
}

TEST(Keys, OfAnUnknownMeasureAreDataLoss) {
  for (const int measure : {0, kMeasureCount + 1, 255}) {
    const std::string key = CellPrefix(kPair) + static_cast<char>(measure) + std::string(4, '\0');
    EXPECT_TRUE(absl::IsDataLoss(ParseCellPageKey(key).status())) << measure;
  }
}

TEST(Keys, OfAPageBeyondAllDaysAreDataLoss) {
  for (const char* page : {"\x7f\xff\xff\xff", "\x80\x00\x00\x01"}) {
    const std::string key = CellPrefix(kPair, Measure::kOnTime) + std::string(page, 4);
    EXPECT_TRUE(absl::IsDataLoss(ParseCellPageKey(key).status())) << Hex(key);
  }
}

TEST(Keys, WithAnyBitFlippedAreReadOrRefusedNeverACrash) {
  PartState part = Part();
  part.tracking = {"TRK1"};
  std::vector<std::string> keys = IndexKeys(kOrder, part);
  keys.push_back(CellPageKey({kPair, Measure::kOnTime, Day{20'517}}));
  keys.push_back(PairKey(kPair));
  int refused = 0;
  for (const std::string& key : keys) {
    for (size_t bit = 0; bit < 8 * key.size(); ++bit) {
      std::string flipped = key;
      flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << (bit % 8)));
      for (const absl::Status& status :
           {ParseTrackingKey(flipped).status(), ParseDueKey(flipped).status(),
            ParsePairIndexKey(flipped).status(), ParseCellPageKey(flipped).status(),
            ParsePairKey(flipped).status()}) {
        EXPECT_TRUE(status.ok() || absl::IsDataLoss(status)) << status;
        refused += status.ok() ? 0 : 1;
      }
    }
  }
  EXPECT_GT(refused, 0);
}

// Names that begin like one another, services with and without, days far apart.
class CellNeighbours : public ::testing::Test {
 protected:
  CellNeighbours() {
    for (const char* supplier : {"a", "a b", "a!", "ab", "b", "\xC3\xA4"}) {
      for (const char* origin : {"VN", "VN1", "DE"}) {
        for (const char* service : {"", "a", "ab", "-a"}) {
          Add({supplier, {origin, "DE", service}});
          Add({supplier, {origin, "DE1", service}});
        }
      }
    }
    Add({});
  }
  void Add(const Pair& pair) {
    for (int measure = 1; measure <= kMeasureCount; ++measure) {
      for (const int32_t day : {-2'000'000, -17, -1, 0, 15, 16, 255 * kDaysPerPage, 20'517,
                                256 * kDaysPerPage * 256, 2'932'896}) {
        const CellKey key{pair, static_cast<Measure>(measure), Day{day}};
        keys_.emplace(CellPageKey(key), key);
      }
    }
  }
  // Checks that the keys that start with `prefix` are those for which `belongs` holds.
  template <typename Belongs>
  void ExpectExactly(const std::string& prefix, const Belongs& belongs) const {
    int inside = 0;
    for (const auto& [bytes, key] : keys_) {
      ASSERT_EQ(bytes.starts_with(prefix), belongs(key)) << Hex(prefix) << " and " << Hex(bytes);
      inside += belongs(key) ? 1 : 0;
    }
    EXPECT_GT(inside, 0) << Hex(prefix);
  }

  std::map<std::string, CellKey> keys_;
};

TEST_F(CellNeighbours, APairsPrefixCoversItsOwnPages) {
  std::set<Pair> pairs;
  for (const auto& [bytes, key] : keys_) pairs.insert(key.pair);
  for (const Pair& pair : pairs) {
    ExpectExactly(CellPrefix(pair), [&](const CellKey& key) { return key.pair == pair; });
  }
}

TEST_F(CellNeighbours, AMeasuresPrefixCoversItsOwnPages) {
  for (int i = 1; i <= kMeasureCount; ++i) {
    const Pair pair{"a", {"VN", "DE", ""}};
    const Measure measure = static_cast<Measure>(i);
    ExpectExactly(CellPrefix(pair, measure),
                  [&](const CellKey& key) { return key.pair == pair && key.measure == measure; });
  }
}

TEST_F(CellNeighbours, ASuppliersNameAndZeroCoverItsOwnPages) {
  for (const std::string supplier : {"a", "a b", "ab", ""}) {
    ExpectExactly(supplier + '\0',
                  [&](const CellKey& key) { return key.pair.supplier == supplier; });
  }
}

TEST_F(CellNeighbours, WithinAMeasurePagesAscendByDay) {
  const std::string prefix = CellPrefix({"a", {"VN", "DE", ""}}, Measure::kOnTime);
  std::vector<Day> days;
  for (const auto& [bytes, key] : keys_) {
    if (bytes.starts_with(prefix) && key.day >= Day{0})
      days.push_back(ParseCellPageKey(bytes)->first_day);
  }
  EXPECT_GE(days.size(), 5u);
  EXPECT_TRUE(std::is_sorted(days.begin(), days.end()));
}

TEST(Keys, OrdersOfOneShopAreNotThoseOfAnother) {
  std::set<std::string> keys;
  for (const char* shop : {"a", "ab", "a b"}) {
    for (const char* id : {"1", "b1", " b1"}) keys.insert(OrderRecordKey({shop, id}));
  }
  EXPECT_EQ(keys.size(), 9u);
  EXPECT_EQ(std::count_if(keys.begin(), keys.end(),
                          [](const auto& key) { return key.starts_with(std::string("a\0", 2)); }),
            3);
}

TEST(Keys, DueOrdersOfALaneAscendByDayFromAnyDay) {
  const auto key = [](const Lane& lane, int32_t day) {
    PartState part = Part();
    part.lane = lane;
    part.promised_day = Day{day};
    part.paid.reset();
    return IndexKeys(kOrder, part).at(0);
  };
  const Lane plain{"VN", "DE", ""}, longer{"VN", "DE1", ""};
  std::vector<std::string> inside;
  for (const int32_t day : {0, 1, 255, 256, 65'536, 2'932'896}) inside.push_back(key(kLane, day));
  EXPECT_TRUE(std::is_sorted(inside.begin(), inside.end()));
  for (const std::string& one : inside) EXPECT_TRUE(one.starts_with(DuePrefix(kLane)));
  for (const Lane& other : {plain, longer}) {
    EXPECT_FALSE(key(other, 0).starts_with(DuePrefix(kLane)));
  }
  EXPECT_LT(key(kLane, 255), DueKeyFrom(kLane, Day{256}));
  EXPECT_GT(key(kLane, 256), DueKeyFrom(kLane, Day{256}));
}

TEST(Keys, ATrackingNumbersPrefixCoversThatNumberOnly) {
  PartState part = Part();
  part.tracking = {"TRK1", "TRK10", "TRK"};
  const std::string prefix = TrackingPrefix("TRK1");
  std::vector<std::string> found;
  for (const std::string& key : IndexKeys(kOrder, part)) {
    if (key.starts_with(prefix)) found.push_back(key);
  }
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(ParseTrackingKey(found[0])->order, kOrder);
}

TEST(Keys, LogEntriesSortByNumber) {
  const std::vector<uint64_t> ascending = {
      0, 1, 255, 256, 65'535, 65'536, uint64_t{1} << 32, ~uint64_t{0}};
  for (size_t i = 1; i < ascending.size(); ++i) {
    EXPECT_LT(LogKey(ascending[i - 1]), LogKey(ascending[i]));
  }
}

}  // namespace
}  // namespace plumblane
