#include "storage/cell_codec.h"

#include <algorithm>
#include <cassert>

#include "storage/bytes.h"

namespace plumblane {
namespace {

// No page is as long as this; what lies farther is damage.
constexpr uint64_t kFarthestDay = 1000;
constexpr uint64_t kMostExpected = 64;

void WriteTally(ByteWriter& writer, const Tally& tally) {
  writer.Signed(tally.entered);
  writer.Number(tally.outcomes.size());
  for (const Outcome& outcome : tally.outcomes) {
    writer.Byte(static_cast<uint8_t>(outcome.code));
    writer.Number(outcome.bucket);
    writer.Signed(outcome.count);
  }
}

Tally ReadTally(ByteReader& reader) {
  Tally tally;
  tally.entered = reader.Signed();
  const uint64_t size = reader.Number();
  // What is kept in memory is read far more often than made; damage must not ask for memory.
  tally.outcomes.reserve(std::min<uint64_t>(size, kMostExpected));
  for (uint64_t i = 0; i < size && reader.ok(); ++i) {
    Outcome outcome;
    outcome.code = static_cast<Code>(reader.Byte());
    outcome.bucket = static_cast<uint32_t>(reader.Number());
    outcome.count = reader.Signed();
    tally.outcomes.push_back(outcome);
  }
  return tally;
}

}  // namespace

std::string EncodePage(Day first_day, const Series& page) {
  assert(!page.empty());
  constexpr size_t kUsualBytes = 24;  // of a day
  ByteWriter writer(page.size() * kUsualBytes);
  writer.Number(page.size());
  for (const Cohort& cohort : page) {
    assert(cohort.day >= first_day && !cohort.cell.empty());
    writer.Number(static_cast<uint64_t>(cohort.day - first_day));
    WriteTally(writer, cohort.cell.counted);
    WriteTally(writer, cohort.cell.excused);
  }
  return writer.Take();
}

absl::StatusOr<Series> DecodePage(Day first_day, std::string_view bytes) {
  ByteReader reader(bytes);
  Series page;
  const uint64_t size = reader.Number();
  for (uint64_t i = 0; i < size && reader.ok(); ++i) {
    const uint64_t offset = reader.Number();
    if (offset > kFarthestDay) break;
    Cohort cohort;
    cohort.day = first_day + static_cast<int32_t>(offset);
    cohort.cell.counted = ReadTally(reader);
    cohort.cell.excused = ReadTally(reader);
    page.push_back(std::move(cohort));
  }
  if (!reader.done() || page.size() != size) return absl::DataLossError("malformed page of cells");
  return page;
}

}  // namespace plumblane
