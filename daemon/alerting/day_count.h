// What a chart is fed with: the orders of one subject that settled on one day, and the hits among
// them, late or bad ones. The day is that of the cohort (promised, ship or paid day), which does
// not depend on the outcome; when it becomes known is for others to say.
#pragma once

#include <cstdint>

#include "base/time.h"

namespace plumblane {

struct DayCount {
  Day day;
  int64_t orders = 0;  // >= 0
  int64_t hits = 0;    // 0 .. orders
  bool operator==(const DayCount&) const = default;
};

}  // namespace plumblane
