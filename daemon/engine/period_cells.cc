#include "engine/period_cells.h"

#include <algorithm>
#include <string>
#include <utility>

#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

absl::Status ReadRange(const Snapshot& snapshot, const Pair& pair, Measure measure,
                       const Period& range, const VisitCohort& visit) {
  absl::Status bad;
  const std::string prefix = CellPrefix(pair, measure);
  Cohort cohort;
  const absl::Status scanned = snapshot.Scan(
      Space::kCells, prefix, CellPageKey({pair, measure, range.first}), [&](auto key, auto value) {
        const auto first_day = ParseCellPageDay(key, prefix);
        bad.Update(first_day.status());
        if (!first_day.ok() || range.last < *first_day) return false;
        PageReader page(*first_day, value);
        while (page.Next(cohort)) {
          if (range.Contains(cohort.day)) visit(measure, cohort);
        }
        bad.Update(page.status());
        return bad.ok();
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

absl::Status ReadCells(const Snapshot& snapshot, const Pair& pair,
                       std::span<const Measure> measures, std::span<const Period> ranges,
                       const VisitCohort& visit) {
  for (const Measure measure : measures) {
    for (const Period& range : ranges) {
      const absl::Status read = ReadRange(snapshot, pair, measure, range, visit);
      if (!read.ok()) return read;
    }
  }
  return absl::OkStatus();
}

}  // namespace plumblane
