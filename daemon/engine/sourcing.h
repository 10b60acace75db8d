// Who gets the next order: the question and its answer.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "agreements/assignment.h"
#include "agreements/costs.h"
#include "base/money.h"
#include "cohorts/cell.h"
#include "ranking/order_cost.h"
#include "ranking/rank.h"
#include "scoring/score.h"

namespace plumblane {

struct OrderToSource {
  std::string destination;
  std::optional<std::string> origin, service;
  std::string item;  // "" = quotes for any item
  int64_t units = 1;
  std::string shop = "default";
  std::optional<Money> sale;           // none: as the cost settings say
  std::vector<std::string> could_not;  // suppliers that could not deliver it, the latest last
  // Orders given to suppliers since the state that is asked, which count against their limits.
  std::map<std::string, int64_t> given;
};

// What an order is expected to cost with a supplier. Amounts in minor units of the answer's
// currency.
struct PricedCandidate {
  OrderCost cost;
  CostQuantiles quantiles;
  double cheapest_chance = 0;
  int64_t landed = 0;
  Money quoted;
  std::string exchange_rate;  // in words; "" = the same currency
  std::optional<int> promised_days;
};

struct SourcingCandidate {
  Pair pair;
  Ranked ranked;                            // `candidate` is its place in the answer
  std::shared_ptr<PricedCandidate> priced;  // null: not ranked by cost
  double share = 0;
  std::optional<int64_t> remaining;  // orders it still takes this month
  std::string supplier_item;
  std::optional<Day> closed_until;
  std::vector<std::string> notes;  // what to know besides, in plain words; of those told in full
  std::shared_ptr<const ScoreEstimate> score;  // null unless told in full
};

struct ExcludedPair {
  Pair pair;
  std::string reason;
};

// Quotes, rates of exchange, closures and pauses are those of the day asked about, months those of
// now; promised days count from the day the supplier opens.
struct SourcingAnswer {
  bool by_cost = false;
  std::string order_reason;  // why not by cost, or what the costs leave out; "" = nothing to say
  std::vector<SourcingCandidate> candidates;  // all, best first
  std::vector<ExcludedPair> excluded;         // ascending by pair
  std::string currency;                       // "" without costs
  bool trials_on = false;
  CostClass costs;              // those that were used
  std::optional<int64_t> sale;  // likewise
};

// The decision for one order, or why there is none (`excluded` says so for each).
struct Decision {
  std::optional<Assignment> assignment;
  std::vector<ExcludedPair> excluded;
};

// From what was answered for the order part: the pick by the shares, keyed by the order part, or
// `chosen` when a person chose. REQUIRES: a `chosen` one is among the candidates.
Decision Decide(const OrderToSource& asked, const SourcingAnswer& answer, const OrderKey& order,
                int part, Instant time, const std::string& chosen = "",
                const std::string& reason = "");

}  // namespace plumblane
