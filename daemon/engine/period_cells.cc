#include "engine/period_cells.h"

#include <algorithm>
#include <string>
#include <utility>

#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

absl::Status ReadRange(const Snapshot& snapshot, const Pair& pair, Measure measure,
                       const Period& range, Series& series) {
  absl::Status bad;
  const std::string prefix = CellPrefix(pair, measure);
  const absl::Status scanned = snapshot.Scan(
      Space::kCells, prefix, CellPageKey({pair, measure, range.first}), [&](auto key, auto value) {
        const auto page = ParseCellPageKey(key);
        bad.Update(page.status());
        if (!page.ok() || range.last < page->first_day) return false;
        auto days = DecodePage(page->first_day, value);
        bad.Update(days.status());
        if (!days.ok()) return false;
        for (Cohort& cohort : *days) {
          if (range.Contains(cohort.day)) series.push_back(std::move(cohort));
        }
        return true;
      });
  bad.Update(scanned);
  return bad;
}

}  // namespace

std::vector<Period> RangesOf(const Periods& periods) {
  const Period recent{periods[1].first, periods[0].last}, old = periods[2];
  if (old.last < recent.first) return {old, recent};
  return {{std::min(recent.first, old.first), recent.last}};
}

absl::StatusOr<MeasureSet> ReadCells(const Snapshot& snapshot, const Pair& pair,
                                     std::span<const Measure> measures,
                                     std::span<const Period> ranges) {
  MeasureSet cells;
  for (const Measure measure : measures) {
    for (const Period& range : ranges) {
      const absl::Status read = ReadRange(snapshot, pair, measure, range, cells[measure]);
      if (!read.ok()) return read;
    }
  }
  return cells;
}

}  // namespace plumblane
