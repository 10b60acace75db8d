#include "engine/export.h"

#include "engine/records.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"
#include "storage/order_codec.h"

namespace plumblane {
namespace {

// Reads records from `place` on until `take` has enough; then `place` is behind the last one.
template <typename Take>
absl::Status Read(const Snapshot& snapshot, Space space, std::string_view prefix,
                  std::string& place, const Take& take) {
  absl::Status bad;
  const absl::Status scanned = snapshot.Scan(space, prefix, place, [&](auto key, auto value) {
    place.assign(key);
    place.push_back('\0');
    absl::StatusOr<bool> wants_more = take(key, value);
    bad.Update(wants_more.status());
    return wants_more.ok() && *wants_more;
  });
  bad.Update(scanned);
  return bad;
}

}  // namespace

absl::StatusOr<std::vector<StoredOrder>> NextOrders(const Snapshot& snapshot, size_t events,
                                                    std::string& place) {
  std::vector<StoredOrder> orders;
  size_t taken = 0;
  const absl::Status status =
      Read(snapshot, Space::kOrders, "", place, [&](auto key, auto value) -> absl::StatusOr<bool> {
        auto record = DecodeOrder(value);
        if (!record.ok()) return record.status();
        taken += record->size();
        std::vector<Ignored> ignored = EventsInEffect(*record);
        orders.push_back({ParseOrderRecordKey(key), *std::move(record), std::move(ignored)});
        return taken < events;
      });
  if (!status.ok()) return status;
  return orders;
}

absl::StatusOr<std::vector<std::pair<CellKey, Cell>>> NextCells(const Snapshot& snapshot,
                                                                size_t cells, std::string& place) {
  std::vector<std::pair<CellKey, Cell>> taken;
  const absl::Status status =
      Read(snapshot, Space::kCells, "", place, [&](auto key, auto value) -> absl::StatusOr<bool> {
        const auto page = ParseCellPageKey(key);
        if (!page.ok()) return page.status();
        if (page->pair == Pair()) return true;
        auto days = DecodePage(page->first_day, value);
        if (!days.ok()) return days.status();
        for (Cohort& cohort : *days) {
          taken.push_back({{page->pair, page->measure, cohort.day}, std::move(cohort.cell)});
        }
        return taken.size() < cells;
      });
  if (!status.ok()) return status;
  return taken;
}

absl::StatusOr<std::vector<StoredAssignment>> NextAssignments(const Snapshot& snapshot,
                                                              size_t assignments,
                                                              std::string& place) {
  std::vector<StoredAssignment> taken;
  const absl::Status status = Read(snapshot, Space::kIndex, kAssignmentPrefix, place,
                                   [&](auto, auto value) -> absl::StatusOr<bool> {
                                     auto assignment = DecodeAssignment(value);
                                     if (!assignment.ok()) return assignment.status();
                                     taken.push_back(*std::move(assignment));
                                     return taken.size() < assignments;
                                   });
  if (!status.ok()) return status;
  return taken;
}

}  // namespace plumblane
