// Quotes and outlooks, made ready for one question. Private to engine/; pure.
#pragma once

#include <absl/status/statusor.h>

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "agreements/agreements.h"
#include "engine/sourcing.h"
#include "ranking/order_cost.h"
#include "scoring/outlook.h"

namespace plumblane {

// Adds the pairs that quote for the order. A quote for any service adds none where a service is
// asked for, or where the supplier has shipped with services of its own.
void AddOffers(const OrderToSource& order, const Agreements& agreements, Day today,
               std::vector<Pair>& pairs);

// A quote as it holds for an order, in the currency of the costs.
struct Offer {
  PricedCandidate priced;
  OrderTerms terms;
};

// Error NOT_FOUND: in words, no quote holds or a rate is missing.
absl::StatusOr<Offer> PriceOf(const Pair& pair, const OrderToSource& order,
                              const Agreements& agreements, Day today, std::optional<double> sale);

// The outlooks of all pairs that ship there, and what they add up to.
struct Outlooks {
  std::map<Pair, std::shared_ptr<const Outlook>> pairs;
  std::map<std::pair<std::string, std::string>, Outlook> lanes;  // origin, destination
  std::map<std::string, Outlook> suppliers;
  Outlook fleet;

  void Add(const Pair& pair, std::shared_ptr<const Outlook> outlook) {
    MixInto(lanes[{pair.lane.origin, pair.lane.destination}], *outlook);
    MixInto(suppliers[pair.supplier], *outlook);
    MixInto(fleet, *outlook);
    pairs[pair] = std::move(outlook);
  }

  OrderBelief BeliefOf(const Pair& pair, const Beta& late, const Beta& bad) const {
    const auto own = pairs.find(pair);
    const auto lane = lanes.find({pair.lane.origin, pair.lane.destination});
    const auto supplier = suppliers.find(pair.supplier);
    return {late,
            bad,
            own == pairs.end() ? nullptr : own->second.get(),
            lane == lanes.end() ? nullptr : &lane->second,
            supplier == suppliers.end() ? nullptr : &supplier->second,
            &fleet};
  }
};

}  // namespace plumblane
