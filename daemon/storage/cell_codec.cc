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

void ReadTally(ByteReader& reader, Tally& tally) {
  tally.entered = reader.Signed();
  const uint64_t size = reader.Number();
  tally.outcomes.clear();
  // What is kept in memory is read far more often than made; damage must not ask for memory.
  tally.outcomes.reserve(std::min<uint64_t>(size, kMostExpected));
  for (uint64_t i = 0; i < size && reader.ok(); ++i) {
    Outcome outcome;
    outcome.code = static_cast<Code>(reader.Byte());
    outcome.bucket = static_cast<uint32_t>(reader.Number());
    outcome.count = reader.Signed();
    tally.outcomes.push_back(outcome);
  }
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

PageReader::PageReader(Day first_day, std::string_view bytes)
    : first_day_(first_day), reader_(bytes), days_(reader_.Number()) {}

bool PageReader::Next(Cohort& cohort) {
  if (days_ == 0 || !reader_.ok()) return false;
  const uint64_t offset = reader_.Number();
  if (offset > kFarthestDay) return false;
  cohort.day = first_day_ + static_cast<int32_t>(offset);
  ReadTally(reader_, cohort.cell.counted);
  ReadTally(reader_, cohort.cell.excused);
  if (!reader_.ok()) return false;
  --days_;
  return true;
}

absl::Status PageReader::status() const {
  if (days_ == 0 && reader_.done()) return absl::OkStatus();
  return absl::DataLossError("malformed page of cells");
}

absl::StatusOr<Series> DecodePage(Day first_day, std::string_view bytes) {
  PageReader reader(first_day, bytes);
  Series page;
  for (Cohort cohort; reader.Next(cohort); cohort = {}) page.push_back(std::move(cohort));
  if (!reader.status().ok()) return reader.status();
  return page;
}

}  // namespace plumblane
