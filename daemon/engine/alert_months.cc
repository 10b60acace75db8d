#include "engine/alert_months.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "agreements/terms.h"
#include "alerting/baseline.h"
#include "alerting/correlation.h"
#include "alerting/subjects.h"

namespace plumblane {
namespace {

constexpr int kYearDays = 364;
constexpr int kLeastGuardDays = 7, kMostGuardDays = 120;

double Rounded(double value, int digits) {
  if (value == 0) return 0;
  const double unit = std::pow(10, std::floor(std::log10(std::fabs(value))) - (digits - 1));
  return std::round(value / unit) * unit;
}

// Twice the days that were promised on average in the year before the month.
int GuardDays(std::span<const Measures> cells, Day month) {
  double days = 0, orders = 0;
  for (const Measures& one : cells) {
    const Series& money = (*one)[Measure::kMoney];
    for (const Cohort& cohort : money) {
      if (cohort.day >= month || month - cohort.day > kYearDays) continue;
      for (const Tally* tally : {&cohort.cell.counted, &cohort.cell.excused}) {
        for (const Outcome& outcome : tally->outcomes) {
          if (outcome.code != Code::kPromised) continue;
          days += static_cast<double>(outcome.bucket) * static_cast<double>(outcome.count);
          orders += static_cast<double>(outcome.count);
        }
      }
    }
  }
  if (orders <= 0) return DesignBasis{}.guard_days;
  return std::clamp(static_cast<int>(std::ceil(2 * days / orders)), kLeastGuardDays,
                    kMostGuardDays);
}

}  // namespace

Day MonthStart(Day day) { return MonthOf(day, 1).first; }

// What one month is made from, pair by pair. Many may be in the making, with all pairs each, so
// what is kept of a pair is little.
struct AlertMonths::Making {
  Making(Day first, const Rules& rules, const MeasureSet& total)
      : month(first),
        moment{StartOf(first), StartOf(DayOf(StartOf(first) - rules.settle_delay_millis)),
               first - 1},
        score{.half_life_days = rules.half_life_days, .claim_window_days = kClaimWatchDays} {
    for (Side* side : {&counted, &with_excused}) {
      side->pooled = PooledPriors(total[Measure::kOnTime], total[Measure::kDefect], moment, score,
                                  side->scope);
    }
    is_same = counted.pooled == with_excused.pooled;
  }

  void Add(const MeasureSet& cells) {
    const auto sums_of = [&](const Side& side) {
      return SumsOf(
          RatesOf(cells[Measure::kOnTime], cells[Measure::kDefect], side.scope, moment, score),
          side.pooled);
    };
    const PairSums one = sums_of(counted), other = sums_of(with_excused);
    if (is_same && one != other) {
      with_excused.sums = counted.sums;
      is_same = false;
    }
    counted.sums.push_back(one);
    if (!is_same) with_excused.sums.push_back(other);
  }

  void AddLane(const Lane& lane, std::span<const DayCount> days) {
    const Day settled = DayOf(moment.horizon);  // the first day that has not
    const auto before = [](const DayCount& count, Day day) { return count.day < day; };
    const auto from = std::lower_bound(days.begin(), days.end(), month - kYearDays, before);
    const auto to = std::lower_bound(from, days.end(), settled, before);
    if (from == to) return;
    correlation.Add({from, to});
    volumes.push_back({lane, YearlyOrders({from, to}, settled)});
  }

  // `pairs` are those that were added, in that order.
  Month Finish(std::span<const Pair> pairs) {
    const auto fit = [pairs](const Side& side) {
      return std::make_shared<const FleetPriors>(pairs, side.sums, side.pooled);
    };
    Month made;
    made.counted = fit(counted);
    made.with_excused = is_same ? made.counted : fit(with_excused);
    made.correlation = std::round(correlation.Used() * 100) / 100;
    for (LanePool& pool : PoolLanes(volumes)) {
      const bool is_pool =
          pool.by == LanePool::By::kDestination || pool.by == LanePool::By::kOrigin;
      if (is_pool) made.pools.push_back(std::move(pool));
    }
    return made;
  }

  Day month;
  Moment moment;
  ScoreRules score;
  struct Side {
    Scope scope;
    Priors pooled = {};
    std::vector<PairSums> sums = {};
  };
  Side counted{Scope::kCounted}, with_excused{Scope::kWithExcused};
  bool is_same = false;  // so far, so that only `counted` has sums
  DayCorrelation correlation;
  std::vector<LaneVolume> volumes;
};

absl::StatusOr<std::set<Day>> AlertMonths::Update(const PairDirectory& pairs,
                                                  const ReadMeasures& read, Day last,
                                                  std::optional<Day> changed) {
  const auto total = read(Pair{}, /*again=*/true);
  if (!total.ok()) return total.status();
  std::set<Day> wanted;
  for (const Cohort& cohort : (**total)[Measure::kOnTime]) {
    const Day month = MonthStart(cohort.day);
    for (const Day one : {month, MonthOf(cohort.day, 1).next}) {
      if (one <= last) wanted.insert(one);
    }
  }
  std::set<Day> made;
  std::erase_if(months_, [&](const auto& month) {
    const bool is_gone = !wanted.contains(month.first);
    if (is_gone) made.insert(month.first);
    return is_gone;
  });
  std::vector<Making> makings;
  for (const Day month : wanted) {
    if (months_.contains(month) && !(changed && *changed < month)) continue;
    makings.emplace_back(month, rules_, **total);
    made.insert(month);
  }
  if (makings.empty()) return made;
  // Lanes over their services, one after the other.
  std::vector<Pair> added;
  const Instant horizon = StartOf(last + 1);
  for (const auto& [destination, at] : pairs.by_destination) {
    for (auto pair = at.begin(); pair != at.end();) {
      const Lane lane{pair->first.origin, pair->first.destination, ""};
      std::vector<std::shared_ptr<const Series>> parts;
      for (; pair != at.end() && pair->first.origin == lane.origin; ++pair) {
        auto cells = read({pair->second, pair->first}, /*again=*/false);
        if (!cells.ok()) return cells.status();
        for (Making& making : makings) making.Add(**cells);
        added.push_back({pair->second, pair->first});
        parts.emplace_back(*cells, &(**cells)[Measure::kOnTime]);
      }
      const SeriesSubject days({.kind = ChartKind::kLate,
                                .parts = std::move(parts),
                                .scope = Scope::kWithExcused,
                                .horizon = horizon,
                                .basis_on = {}});
      const std::vector<DayCount> counts = days.Counts({}, {}, last);
      for (Making& making : makings) making.AddLane(lane, counts);
    }
  }
  // One gives way to the other.
  for (; !makings.empty(); makings.pop_back()) {
    // With very many pairs a fit takes a second, and whoever reads may have given up.
    if (const auto still = read(Pair{}, /*again=*/true); !still.ok()) return still.status();
    months_[makings.back().month] = makings.back().Finish(added);
  }
  return made;
}

std::optional<DesignBasis> AlertMonths::BasisOf(Day month, std::span<const Pair> pairs,
                                                std::span<const Measures> cells, Scope scope,
                                                Measure which) const {
  const auto fleet = months_.find(month);
  if (fleet == months_.end()) return std::nullopt;
  std::vector<Pair> known;
  for (size_t i = 0; i < pairs.size(); ++i) {
    const Series& underway = (*cells[i])[Measure::kUnderway];
    if (!underway.empty() && underway.front().day < month) known.push_back(pairs[i]);
  }
  if (known.empty()) return std::nullopt;
  const Priors priors =
      (scope == Scope::kCounted ? fleet->second.counted : fleet->second.with_excused)->Of(known);
  const std::optional<Prior>& prior = which == Measure::kDefect ? priors.defect : priors.late;
  if (!prior) return std::nullopt;
  return DesignBasis{{Rounded(prior->mean, 3), Rounded(prior->strength, 2)},
                     fleet->second.correlation,
                     GuardDays(cells, month)};
}

std::map<Day, std::span<const LanePool>> AlertMonths::Pools() const {
  std::map<Day, std::span<const LanePool>> pools;
  for (const auto& [day, month] : months_) pools.emplace(day, month.pools);
  return pools;
}

}  // namespace plumblane
