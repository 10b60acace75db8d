// What is charted, and how it is counted from cells.
//
//   kLate          on_time cells: not delivered by the promise. Settled when the promised day is
//                  over by the horizon.
//   kDefect        defect cells: defective by kClaimWatchDays after the promised day. Orders that
//                  left before then without a defect are not counted. Settled once those days are
//                  over: waiting for the whole claim window would tell nothing in time.
//   kNotShipped    handling cells: not shipped within the subject's own usual time;
//   kNotDelivered  delivery cells: not delivered within it. The early ones: they speak long before
//                  a promise passes. The usual time is the 90th percentile as of the start of the
//                  design day, so normally one order in ten takes longer. Orders that left within
//                  it are not counted. Settled at the end of the cohort's day plus that time.
//
// A subject is a lane, a supplier, or a pool of slow lanes (pool.h): the sum of its series. Lanes
// count excused orders, suppliers do not (Scope).
//
// Functions are pure and thread-safe, O(cohorts + outcomes); a SeriesSubject belongs to one thread.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "alerting/day_count.h"
#include "alerting/watch.h"
#include "cohorts/cell.h"
#include "cohorts/measure.h"
#include "scoring/moment.h"

namespace plumblane {

enum class ChartKind { kLate, kDefect, kNotShipped, kNotDelivered };

Measure MeasureOf(ChartKind kind);

// Defects are charted by this many whole days after the promised day.
inline constexpr int kClaimWatchDays = 14;

// How long is usual for the early charts, and what is believed of the share that takes longer
// before any order of one's own: it is about one in ten, whatever the lane.
inline constexpr double kUsualShare = .9;
inline constexpr Prior kBeyondUsual{1 - kUsualShare, 20};

// A subject is the sum of its parts.
using SeriesParts = std::vector<std::shared_ptr<const Series>>;

// The bucket (cohorts/buckets.h) by whose end kUsualShare of orders have had their outcome, as
// known at `moment`. None when so many are not known to, or fewer than kFewestAtRisk orders' worth
// are at risk there. REQUIRES: `parts` are of kNotShipped's or kNotDelivered's measure.
std::optional<uint32_t> UsualBucket(ChartKind kind, const SeriesParts& parts, Scope scope,
                                    const Moment& moment, double half_life_days);

// Days without orders are left out. REQUIRES: `series` is of the kind's measure; `usual` is there
// for the early kinds.
std::vector<DayCount> CountDays(ChartKind kind, const Series& series, Scope scope, Instant horizon,
                                std::optional<uint32_t> usual, Day from, Day to);

// The usual bucket as of a design day; none when there is none, or was not asked for.
using UsualTime = std::optional<std::pair<Day, std::optional<uint32_t>>>;

// A subject of cells, as of a horizon.
class SeriesSubject final : public WatchSubject {
 public:
  struct Source {
    ChartKind kind = ChartKind::kLate;
    SeriesParts parts;
    Scope scope = Scope::kWithExcused;
    Instant horizon;             // outcomes are complete up to here
    int64_t settle_delay = 0;    // in milliseconds: how much earlier it was, on a design day
    double half_life_days = 45;  // of scores: for the usual time
    // Of kLate and kDefect. As of the start of the day, none when nothing is known: a prior of the
    // fleet (fleet_prior.h), the correlation of days (DayCorrelation::Used), and the days to guard,
    // twice the promised ones. The early kinds take the latter two from it and have kBeyondUsual.
    std::function<std::optional<DesignBasis>(Day)> basis_on;
    // What usual() and counted() of a subject of the same cells said as of a horizon before; saves
    // finding it again. REQUIRES: none of the counted days has changed since.
    UsualTime usual = {};
    std::vector<DayCount> counted = {};
  };
  // The day up to which Watch may be advanced is that before the horizon's.
  explicit SeriesSubject(Source source)
      : source_(std::move(source)), usual_(source_.usual), counted_(std::move(source_.counted)) {}

  std::optional<Day> FirstDay() const override;
  std::optional<DesignBasis> BasisOn(Day design_day) const override;
  std::vector<DayCount> Counts(Day design_day, Day from, Day to) const override;

  const UsualTime& usual() const { return usual_; }  // last asked for
  // Of a sum of several series, unless of an early kind: the days up to the last one asked for that
  // has settled. Else empty: one series is as soon counted again.
  const std::vector<DayCount>& counted() const { return counted_; }

 private:
  bool IsEarly() const;
  std::optional<uint32_t> UsualOn(Day design_day) const;
  std::vector<DayCount> CountAgain(std::optional<uint32_t> usual, Day from, Day to) const;

  Source source_;
  mutable UsualTime usual_;
  mutable std::vector<DayCount> counted_;
};

}  // namespace plumblane
