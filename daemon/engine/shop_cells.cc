#include "engine/shop_cells.h"

#include <algorithm>

#include "storage/keys.h"

namespace plumblane {

absl::Status CheckShop(const Snapshot& snapshot, const std::string& shop) {
  bool known = shop.empty();
  absl::Status scanned;
  if (!known) {
    scanned = snapshot.Scan(Space::kOrders, ShopPrefix(shop), "", [&](auto, auto) {
      known = true;
      return false;
    });
  }
  return !scanned.ok() || known ? scanned : absl::NotFoundError("no order names shop " + shop);
}

void ShopCells::Add(const PartState& part, std::span<const Period> ranges) {
  for (const Entry& entry : part.entries) {
    const auto holds = [&](const Period& range) { return range.Contains(entry.day); };
    if (std::any_of(ranges.begin(), ranges.end(), holds)) cells_.Add(part.pair(), entry, 1);
  }
}

MeasureSet ShopCells::Of(const Pair& pair) const {
  MeasureSet cells;
  const auto& all = cells_.map();
  for (auto at = all.lower_bound({pair, {}, {}}); at != all.end() && at->first.pair == pair; ++at) {
    cells[at->first.measure].push_back({at->first.day, at->second});
  }
  return cells;
}

}  // namespace plumblane
