// What is believed of the rates of a pair, lane or supplier before its own orders.
//
// Pooled: one mean over all pairs, of little strength. Fitted: per subject, from what its suppliers
// do on other lanes and others do on its lanes (fleet_prior.h); it is a function of the rates of
// all pairs, so of the cells, the moment and the rules, and of nothing else.
//
// Rates do not change within a day: a prior is made for the days that had ended (EndedDays), and
// serves every question that has the same ones.
//
// Pure; const use is thread-safe. RatesOf costs 3 us for a pair with 400 days, fitting about 6 us
// a pair.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "cohorts/cell.h"
#include "scoring/defects.h"
#include "scoring/fleet_prior.h"
#include "scoring/moment.h"
#include "scoring/rate.h"

namespace plumblane {

// Names the moment and rules it was made for only by being passed with them.
struct Priors {
  std::optional<Prior> late, defect;
  DelayCurve defect_delay;
  bool operator==(const Priors&) const = default;
};

// From the series of the sum over all pairs, in the scope of the score they are for. Answers do not
// depend on what is kept (spans.h), here and below.
Priors PooledPriors(const Series& on_time_total, const Series& defect_total, const Moment& moment,
                    const ScoreRules& rules, Scope scope = Scope::kCounted,
                    KeptSpans* kept = nullptr);

// The start of the day of `moment`, with the horizon at the start of its own day: rates read the
// same orders with the same weights as at `moment` itself.
Moment EndedDays(const Moment& moment);

// What the orders of one pair say of its rates, whatever other pairs say.
struct PairRates {
  OnTimeCounts on_time;
  DefectExposure defect;
  bool operator==(const PairRates&) const = default;
};
PairRates RatesOf(const Series& on_time, const Series& defect, Scope scope, const Moment& moment,
                  const ScoreRules& rules);

struct PairOfFleet {
  Pair pair;
  PairRates rates;
};

// What a fleet's priors are fitted to, of one pair: 48 bytes, where its rates take hundreds.
struct PairSums {
  WeightedSums late, defect;
  bool operator==(const PairSums&) const = default;
};
// `pooled` is that of the fleet.
PairSums SumsOf(const PairRates& rates, const Priors& pooled);

class FleetPriors {
 public:
  FleetPriors() = default;

  // Each pair once, with its rates at one moment; `pooled` from the sum over them for the same.
  // Where there is nothing to fit, the pooled prior stands in.
  FleetPriors(std::span<const PairOfFleet> pairs, Priors pooled);
  // The same from their sums, which lie along `pairs`.
  FleetPriors(std::span<const Pair> pairs, std::span<const PairSums> sums, Priors pooled);

  // For the score of the sum over these pairs. REQUIRES: as for FleetPrior::PriorOfSum.
  Priors Of(std::span<const Pair> pairs) const;

  std::optional<FleetEvidence> late_evidence() const;
  std::optional<FleetEvidence> defect_evidence() const;

 private:
  void Fit(size_t count, const auto& pair_at, const auto& sums_at);

  Priors pooled_;
  std::optional<FleetPrior> late_, defect_;
};

}  // namespace plumblane
