// Quotes, made ready for one question. Private to engine/; pure.
#pragma once

#include <absl/status/statusor.h>

#include <optional>
#include <span>
#include <vector>

#include "agreements/agreements.h"
#include "engine/sourcing.h"
#include "ranking/order_cost.h"

namespace plumblane {

// The pairs that quote for the order besides `shipped`, ascending. A quote for any service adds
// none where a service is asked for, or where the supplier has shipped with services of its own.
// REQUIRES: both ascending; `offers` are QuoteBook::OffersTo.
std::vector<Pair> PairsOffering(const OrderToSource& order,
                                std::span<const HeldQuote* const> offers,
                                std::span<const Pair* const> shipped);

// A quote as it holds for an order, in the currency of the costs.
struct Offer {
  PricedCandidate priced;
  OrderTerms terms;
};

// Error NOT_FOUND: in words, no quote holds or a rate is missing.
absl::StatusOr<Offer> PriceOf(const Pair& pair, const OrderToSource& order,
                              std::span<const HeldQuote* const> offers,
                              const Agreements& agreements, Day today, std::optional<double> sale);

}  // namespace plumblane
