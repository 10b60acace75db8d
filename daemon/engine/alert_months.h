// What is known of the fleet on the first day of a month: what charts designed in it start from.
//
// A design must not depend on when it is made, or a replay would not give the alerts that were
// told. So what is believed before a subject's own orders is fixed by month: fitted to the cells of
// all pairs as of the month's first day (scoring/priors.h), with how much the orders of a day go
// wrong together and which slow lanes are watched as one. Means are rounded to three digits and
// strengths to two, so that a correction of one order does not move the charts of all others.
//
// Defects are rated by kClaimWatchDays, as they are charted. Days before the first month that is
// known, or after a month without any order, have no fleet, and nothing is designed on them.
//
// Cost: one reading of all pairs for the months that are to be made anew, and a fit for each: some
// 0.1 s with 10,000 pairs. A month holds 64 bytes a pair and 48 more until it is fitted, twice
// that where orders are excused; a fit takes some 150 meanwhile. Not thread-safe.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <map>
#include <memory>
#include <set>
#include <span>
#include <vector>

#include "alerting/pool.h"
#include "alerting/watch.h"
#include "cohorts/cell.h"
#include "engine/catalog.h"
#include "scoring/priors.h"
#include "scoring/score.h"

namespace plumblane {

// `again`: the pair will be asked for again before long, so it is worth keeping.
using Measures = std::shared_ptr<const MeasureSet>;
using ReadMeasures = std::function<absl::StatusOr<Measures>(const Pair&, bool again)>;

Day MonthStart(Day day);

class AlertMonths {
 public:
  struct Rules {
    double half_life_days = 45;
    int64_t settle_delay_millis = kMillisPerDay;
  };
  explicit AlertMonths(const Rules& rules) : rules_(rules) {}

  // Makes the months up to that of `last` which are missing, or may differ since rates of cohorts
  // from `changed` on did; returns their first days. Reading the empty pair gives the sum over all.
  absl::StatusOr<std::set<Day>> Update(const PairDirectory& pairs, const ReadMeasures& read,
                                       Day last, std::optional<Day> changed);

  // Of the sum of these pairs, in the month that starts on this day. `which`: late or defective.
  // None when nothing is known of the month, or of none of the pairs by then.
  std::optional<DesignBasis> BasisOf(Day month, std::span<const Pair> pairs,
                                     std::span<const Measures> cells, Scope scope,
                                     Measure which) const;

  // By month: how lanes are pooled in it.
  std::map<Day, std::span<const LanePool>> Pools() const;

 private:
  struct Month {
    std::shared_ptr<const FleetPriors> counted, with_excused;  // one where nothing is excused
    double correlation = 0;
    std::vector<LanePool> pools;
  };
  struct Making;

  Rules rules_;
  std::map<Day, Month> months_;
};

}  // namespace plumblane
