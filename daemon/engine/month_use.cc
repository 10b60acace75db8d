#include "engine/month_use.h"

#include "storage/cell_codec.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

// Every part paid is in `underway` on its paid day, whatever became of it and however its dates
// contradict each other; `delivery` would leave out the latter.
constexpr Measure kCounted = Measure::kUnderway;

absl::StatusOr<int64_t> PaidSince(const Snapshot& snapshot, const Pair& pair, Day first,
                                  Day today) {
  int64_t count = 0;
  absl::Status bad;
  const absl::Status scanned =
      snapshot.Scan(Space::kCells, CellPrefix(pair, kCounted), CellPageKey({pair, kCounted, first}),
                    [&](auto key, auto value) {
                      const auto page = ParseCellPageKey(key);
                      bad.Update(page.status());
                      if (!page.ok()) return false;
                      const auto series = DecodePage(page->first_day, value);
                      bad.Update(series.status());
                      if (!series.ok()) return false;
                      for (const Cohort& cohort : *series) {
                        if (cohort.day < first || cohort.day > today) continue;
                        count += cohort.cell.counted.entered + cohort.cell.excused.entered;
                      }
                      return page->first_day <= today;
                    });
  bad.Update(scanned);
  if (!bad.ok()) return bad;
  return count;
}

}  // namespace

absl::StatusOr<MonthUse> MonthUseOf(const Snapshot& snapshot, const Catalog& catalog,
                                    const std::string& supplier, Day today) {
  const HeldTerms* held = catalog.agreements->terms.Find(supplier);
  MonthUse use;
  use.month = MonthOf(today, held ? held->terms.month_start_day : 1);
  const std::set<Pair>& pairs = catalog.pairs->by_supplier;
  for (auto pair = pairs.lower_bound(Pair{supplier, {}});
       pair != pairs.end() && pair->supplier == supplier; ++pair) {
    const auto paid = PaidSince(snapshot, *pair, use.month.first, today);
    if (!paid.ok()) return paid.status();
    use.paid_count += *paid;
  }
  for (const auto& [part, open] : catalog.assignments->by_part) {
    if (open.supplier == supplier && open.time >= StartOf(use.month.first)) ++use.assigned_count;
  }
  return use;
}

}  // namespace plumblane
