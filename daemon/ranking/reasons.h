// One plain sentence for each supplier: why it stands where it stands.
//
// Pure and thread-safe.
#pragma once

#include <string>

#include "ranking/order_cost.h"

namespace plumblane {

// "1 in 8", "62 in 100", "fewer than 1 in 2,000".
std::string OneIn(double share);

// A supplier as the sentence names it. Amounts are minor units of `currency`.
struct Named {
  const std::string& supplier;
  const CostParts& parts;
};

// Of the one with the lowest expected cost, against the cheapest quote; the same one twice when it
// is that itself.
std::string WhyFirst(const Named& first, const Named& cheapest_quote, const std::string& currency);

// Of any other, against the first.
std::string WhyNotFirst(const Named& one, const Named& first, const std::string& currency);

}  // namespace plumblane
