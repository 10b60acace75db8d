#include "alerting/pool.h"

#include <algorithm>
#include <map>

namespace plumblane {
namespace {

using Volumes = std::map<Lane, double>;

// Moves lanes that are fast enough together out of `slow`, by one of their ends.
void PoolBy(LanePool::By by, std::string Lane::*end, double fewest, Volumes& slow,
            std::vector<LanePool>& pools) {
  std::map<std::string, LanePool> by_end;
  for (const auto& [lane, orders] : slow) {
    LanePool& pool = by_end[lane.*end];
    pool.by = by;
    pool.end = lane.*end;
    pool.lanes.push_back(lane);
    pool.yearly_orders += orders;
  }
  for (auto& [name, pool] : by_end) {
    if (pool.yearly_orders < fewest) continue;
    for (const Lane& lane : pool.lanes) slow.erase(lane);
    pools.push_back(std::move(pool));
  }
}

}  // namespace

std::vector<LanePool> PoolLanes(std::span<const LaneVolume> lanes, double fewest) {
  std::vector<LanePool> pools;
  Volumes slow;
  for (const LaneVolume& volume : lanes) {
    if (volume.yearly_orders < fewest) {
      slow.emplace(volume.lane, volume.yearly_orders);
    } else {
      pools.push_back({LanePool::By::kLane, "", {volume.lane}, volume.yearly_orders});
    }
  }
  std::sort(pools.begin(), pools.end(),
            [](const LanePool& x, const LanePool& y) { return x.lanes.front() < y.lanes.front(); });
  PoolBy(LanePool::By::kDestination, &Lane::destination, fewest, slow, pools);
  PoolBy(LanePool::By::kOrigin, &Lane::origin, fewest, slow, pools);
  if (slow.empty()) return pools;
  LanePool rest{LanePool::By::kNothing, "", {}, 0};
  for (const auto& [lane, orders] : slow) {
    rest.lanes.push_back(lane);
    rest.yearly_orders += orders;
  }
  pools.push_back(std::move(rest));
  return pools;
}

}  // namespace plumblane
