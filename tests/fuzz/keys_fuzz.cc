// Keys on the disk: whatever the bytes, they are refused or read, and what was read makes the key.
#include "fuzz/fuzz.h"
#include "storage/keys.h"

namespace {

using namespace plumblane;

template <typename Read>
bool IsReadOrRefused(const Read& read) {
  FUZZ_CHECK(read.ok() || absl::IsDataLoss(read.status()));
  return read.ok();
}

void Check(const std::string& key) {
  if (const auto page = ParseCellPageKey(key); IsReadOrRefused(page)) {
    FUZZ_CHECK(CellPageKey({page->pair, page->measure, page->first_day}) == key);
    const std::string prefix = CellPrefix(page->pair, page->measure);
    const auto day = ParseCellPageDay(key, prefix);
    FUZZ_CHECK(day.ok() && *day == page->first_day);
  }
  if (const auto pair = ParsePairKey(key); IsReadOrRefused(pair)) {
    FUZZ_CHECK(PairKey(*pair) == key);
  }
  if (const auto part = ParseTrackingKey(key); IsReadOrRefused(part)) {
    FUZZ_CHECK(part->part >= 0 && part->part <= UINT16_MAX);
  }
  if (const auto due = ParseDueKey(key); IsReadOrRefused(due)) {
    FUZZ_CHECK(due->part.part >= 0 && due->part.part <= UINT16_MAX);
  }
  if (const auto part = ParsePairIndexKey(key); IsReadOrRefused(part)) {
    const auto kind = static_cast<PairIndex>(key[0]);
    FUZZ_CHECK(key.starts_with(PairIndexPrefix(kind, part->pair)));
    FUZZ_CHECK(!part->day || key.starts_with(PairIndexFrom(kind, part->pair, *part->day)));
  }
  // The first byte, the kind, is taken for granted.
  if (const auto assigned = ParseAssignedKey(key);
      IsReadOrRefused(assigned) && key.starts_with(kAssignedPrefix)) {
    FUZZ_CHECK(AssignedKey(assigned->time, assigned->part.order, assigned->part.part) == key);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  Check(plumblane::fuzz::Input(data, size).Rest());
  return 0;
}
