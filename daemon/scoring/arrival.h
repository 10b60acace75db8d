// Will it be there in time: the share of orders that arrive within a number of days, and how late
// the rest comes.
//
// On-time shares answer for the promises a supplier has made. When it quotes another promise than
// it used to, they do not carry over; the delivery curve (times.h) does, because it says for every
// number of days what share had arrived by then. Its share comes as a Beta, to be used like the
// posterior of a rate: with S the share not arrived by then, n* = S (1 - S)/Var S equal orders
// would know it as well, Beta(n* (1 - S), n* S). It has no prior; where it is absent use the rate.
//
// Source: E. Kaplan, P. Meier, JASA 53 (1958) 457-481 (also of the mean restricted to a limit).
//
// Pure and thread-safe. O(cohorts + outcomes + buckets), and O(buckets) for each number of days.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "scoring/beta.h"
#include "scoring/moment.h"
#include "scoring/spans.h"

namespace plumblane {

// Orders not arrived by then are taken to arrive then.
inline constexpr int kLongestDays = 120;

struct ArrivalEstimate {
  double share = 0;               // arrived within the days asked, by the curve, 0 to 1
  std::optional<Beta> posterior;  // of that share; absent when it is 0 or 1
  // Its 95 % limits; absent too when it is worth fewer than ScoreRules::fewest_at_risk orders.
  std::optional<Interval> limits;
  // Mean days beyond the days asked, over all orders, those in time counting 0 and none more than
  // kLongestDays in all; each arrives when its bucket says (BucketSeconds). Where nobody has been
  // watched that long it is too high rather than too low: whoever has not arrived is not taken to
  // arrive before.
  double late_days = 0;
  bool operator==(const ArrivalEstimate&) const = default;
};

struct Arrival {
  double days = 0;  // as asked, maybe not whole
  // None when no order is known to have been on its way for `days` and the curve has not come to
  // its end: nobody knows yet.
  std::optional<ArrivalEstimate> estimate;
  bool operator==(const Arrival&) const = default;
};

// One for each of `days`, from a delivery series: paid to delivered. A bucket counts as
// in time when it ends by then. REQUIRES: 0 <= each <= kLongestDays; `kept` as for TimesOf.
std::vector<Arrival> ArrivalsWithin(std::span<const double> days, const Series& delivery,
                                    Scope scope, const Moment& moment, const ScoreRules& rules,
                                    KeptSpans* kept = nullptr);

}  // namespace plumblane
