#include "engine/excused.h"

#include <set>

#include "storage/keys.h"

namespace plumblane {

absl::Status EachExcusedOrder(const Snapshot& snapshot, const PairDirectory& pairs,
                              const Excuse& excuse,
                              const std::function<void(const OrderKey&)>& each) {
  if (const auto* one = std::get_if<ExcusedOrder>(&excuse.subject)) {
    each(one->order);
    return absl::OkStatus();
  }
  const auto& days = std::get<ExcusedDays>(excuse.subject);
  const auto at = pairs.by_destination.find(days.lane.destination);
  if (at == pairs.by_destination.end()) return absl::OkStatus();
  std::set<Lane> lanes;
  for (const auto& [lane, supplier] : at->second) {
    if (days.lane.Covers(lane)) lanes.insert(lane);
  }
  absl::Status bad;
  for (const Lane& lane : lanes) {
    const absl::Status scanned = snapshot.Scan(
        Space::kIndex, DuePrefix(lane), DueKeyFrom(lane, days.first_due), [&](auto key, auto) {
          const auto due = ParseDueKey(key);
          bad.Update(due.status());
          if (!due.ok() || due->day > days.last_due) return false;
          each(due->part.order);
          return true;
        });
    bad.Update(scanned);
  }
  return bad;
}

}  // namespace plumblane
