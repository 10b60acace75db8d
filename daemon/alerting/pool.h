// Slow lanes watched together, because alone they could not be watched at all.
//
// With 50 orders a year, one in ten late, and one false alarm in ten years, it takes 31 orders to
// hear that the odds of being late have trebled: eight months. Lanes that are slower than that are
// watched as one, first all slow lanes of a destination (they share customs and carriers of the
// last mile), then of what is left all of an origin. What is still too slow is left to reviews, and
// said to be.
//
// A pool is another subject. For its alerts to be replayed, its members must be a function of what
// was known at some fixed day, such as the first of a quarter, not of today.
//
// Our own. Pure and thread-safe. O(lanes log lanes).
#pragma once

#include <span>
#include <string>
#include <vector>

#include "base/lane.h"

namespace plumblane {

inline constexpr double kFewestYearlyOrders = 50;

struct LaneVolume {
  Lane lane;
  double yearly_orders = 0;  // YearlyOrders (baseline.h)
};

struct LanePool {
  enum class By {
    kLane,         // alone; one lane
    kDestination,  // slow lanes of one destination
    kOrigin,       // of one origin
    kNothing,      // not watched: all that is left, together still too slow or too mixed
  };
  By by = By::kLane;
  std::string end;          // the destination or origin; empty otherwise
  std::vector<Lane> lanes;  // ascending
  double yearly_orders = 0;
  bool operator==(const LanePool&) const = default;
};

// Every lane is in exactly one. By `by`, then end, then lanes; at most one kNothing. A slow lane
// alone at its end is no pool. REQUIRES: no lane twice.
std::vector<LanePool> PoolLanes(std::span<const LaneVolume> lanes,
                                double fewest = kFewestYearlyOrders);

}  // namespace plumblane
