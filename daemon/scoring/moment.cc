#include "scoring/moment.h"

#include <algorithm>
#include <cassert>

namespace plumblane {

std::span<const Cohort> Watched(const Series& series, const Moment& moment) {
  assert(moment.horizon <= moment.now);
  const auto end = std::partition_point(series.begin(), series.end(), [&](const Cohort& cohort) {
    return WatchMillis(cohort.day, moment) >= 0;
  });
  return {series.begin(), end};
}

}  // namespace plumblane
