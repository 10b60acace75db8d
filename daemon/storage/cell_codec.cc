#include "storage/cell_codec.h"

#include <algorithm>
#include <cassert>
#include <tuple>

#include "storage/bytes.h"

namespace plumblane {
namespace {

constexpr uint64_t kMostExpected = 64;

static_assert(kDaysPerPage == 16, "a day has four bits");
constexpr uint8_t kDay = 0x0F, kForm = 0x70, kLast = 0x80;
enum Form : uint8_t { kOneOpen = 0x20, kOneKnown = 0x30, kCounted = 0x40, kBoth = 0x50 };

Form FormOf(const Cell& cell) {
  if (!cell.excused.empty()) return kBoth;
  const Tally& tally = cell.counted;
  if (tally.entered == 1 && tally.outcomes.empty()) return kOneOpen;
  if (tally.entered == 1 && tally.outcomes.size() == 1 && tally.outcomes.front().count == 1) {
    return kOneKnown;
  }
  return kCounted;
}

void WriteTally(ByteWriter& writer, const Tally& tally) {
  writer.Signed(tally.entered);
  writer.Number(tally.outcomes.size());
  for (auto first = tally.outcomes.begin(); first != tally.outcomes.end();) {
    const Code code = first->code;
    const auto end = std::find_if(first, tally.outcomes.end(),
                                  [code](const Outcome& one) { return one.code != code; });
    writer.Byte(static_cast<uint8_t>(code));
    writer.Number(static_cast<uint64_t>(end - first));
    for (uint32_t before = 0; first != end; before = first++->bucket) {
      const bool is_one = first->count == 1;
      writer.Number(uint64_t{first->bucket - before} << 1 | (is_one ? 1 : 0));
      if (!is_one) writer.Signed(first->count);
    }
  }
}

// What is kept in memory is read far more often than made; damage must not ask for memory.
void MakeRoom(uint64_t outcomes, Tally& tally) {
  tally.outcomes.clear();
  tally.outcomes.reserve(std::min<uint64_t>(outcomes, kMostExpected));
}

void ReadTally(ByteReader& reader, Tally& tally) {
  tally.entered = reader.Signed();
  uint64_t left = reader.Number();
  MakeRoom(left, tally);
  while (left > 0 && reader.ok()) {
    Outcome outcome;
    outcome.code = static_cast<Code>(reader.Byte());
    const uint64_t buckets = reader.Number();
    if (buckets == 0 || buckets > left) return reader.Refuse();
    left -= buckets;
    for (uint64_t i = 0; i < buckets && reader.ok(); ++i) {
      const uint64_t step = reader.Number();
      outcome.bucket += static_cast<uint32_t>(step >> 1);
      outcome.count = (step & 1) != 0 ? 1 : reader.Signed();
      tally.outcomes.push_back(outcome);
    }
  }
}

void ReadTallyAsBefore(ByteReader& reader, Tally& tally) {
  tally.entered = reader.Signed();
  const uint64_t size = reader.Number();
  MakeRoom(size, tally);
  for (uint64_t i = 0; i < size && reader.ok(); ++i) {
    Outcome outcome;
    outcome.code = static_cast<Code>(reader.Byte());
    outcome.bucket = static_cast<uint32_t>(reader.Number());
    outcome.count = reader.Signed();
    tally.outcomes.push_back(outcome);
  }
}

// Of what was read: as Tally says it is.
bool IsLawful(const Tally& tally) {
  const auto comes_first = [](const Outcome& a, const Outcome& b) {
    return std::tie(a.code, a.bucket) < std::tie(b.code, b.bucket);
  };
  const Outcome* before = nullptr;
  for (const Outcome& one : tally.outcomes) {
    if (one.count == 0 || (before != nullptr && !comes_first(*before, one))) return false;
    before = &one;
  }
  return true;
}

}  // namespace

std::string EncodePage(Day first_day, const Series& page) {
  assert(!page.empty());
  constexpr size_t kUsualBytes = 16;  // of a day
  ByteWriter writer(page.size() * kUsualBytes);
  for (const Cohort& cohort : page) {
    assert(cohort.day >= first_day && cohort.day < first_day + kDaysPerPage);
    assert(!cohort.cell.empty());
    const Form form = FormOf(cohort.cell);
    const uint8_t last = &cohort == &page.back() ? kLast : 0;
    writer.Byte(static_cast<uint8_t>(last | form | (cohort.day - first_day)));
    if (form == kOneKnown) {
      writer.Byte(static_cast<uint8_t>(cohort.cell.counted.outcomes.front().code));
      writer.Number(cohort.cell.counted.outcomes.front().bucket);
    }
    if (form == kCounted || form == kBoth) WriteTally(writer, cohort.cell.counted);
    if (form == kBoth) WriteTally(writer, cohort.cell.excused);
  }
  return writer.Take();
}

PageReader::PageReader(Day first_day, std::string_view bytes)
    : first_day_(first_day),
      reader_(bytes),
      as_before_(bytes.empty() || static_cast<uint8_t>(bytes.front()) <= kDaysPerPage) {
  if (!as_before_) return;
  days_ = reader_.Number();
  if (days_ == 0) reader_.Refuse();
}

bool PageReader::Next(Cohort& cohort) {
  if (days_ == 0 || !reader_.ok()) return false;
  const uint64_t day = as_before_ ? ReadAsBefore(cohort.cell) : ReadForm(cohort.cell);
  if (day < next_ || day >= kDaysPerPage || cohort.cell.empty() || !IsLawful(cohort.cell.counted) ||
      !IsLawful(cohort.cell.excused)) {
    reader_.Refuse();
    return false;
  }
  next_ = day + 1;
  cohort.day = first_day_ + static_cast<int32_t>(day);
  return reader_.ok();
}

uint64_t PageReader::ReadForm(Cell& cell) {
  const uint8_t head = reader_.Byte();
  if ((head & kLast) != 0) days_ = 0;
  cell.counted.entered = cell.excused.entered = 0;
  cell.counted.outcomes.clear();
  cell.excused.outcomes.clear();
  switch (head & kForm) {
    case kOneKnown: {
      const auto code = static_cast<Code>(reader_.Byte());
      cell.counted.outcomes.push_back({code, static_cast<uint32_t>(reader_.Number()), 1});
      [[fallthrough]];
    }
    case kOneOpen:
      cell.counted.entered = 1;
      break;
    case kBoth:
      ReadTally(reader_, cell.counted);
      ReadTally(reader_, cell.excused);
      break;
    case kCounted:
      ReadTally(reader_, cell.counted);
      break;
    default:
      reader_.Refuse();
  }
  return head & kDay;
}

uint64_t PageReader::ReadAsBefore(Cell& cell) {
  const uint64_t day = reader_.Number();
  ReadTallyAsBefore(reader_, cell.counted);
  ReadTallyAsBefore(reader_, cell.excused);
  --days_;
  return day;
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
