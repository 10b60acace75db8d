// The days a review is about, and those it is compared with.
//
// Pure and thread-safe.
#pragma once

#include "base/time.h"

namespace plumblane {

// Both days included. REQUIRES: first <= last.
struct Period {
  Day first, last;

  bool Contains(Day day) const { return first <= day && day <= last; }
  bool operator==(const Period&) const = default;
};

// As many whole months just before a period of whole months; else as many days just before.
Period PeriodBefore(const Period& period);

// The same dates a year earlier; of 29 February the 28th, and of the last day of a month the last.
Period YearBefore(const Period& period);

}  // namespace plumblane
