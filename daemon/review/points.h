// The points to raise with a supplier, in plain sentences: what its account says, by the money at
// stake, and what went well.
//
// Raised are late, bad, lost and out-of-stock orders, amounts charged above the quote, claims still
// owed, answers that take long or longer than they did beyond chance, orders that leave later than
// they did beyond chance, and items that spoil a rate; at most kMostRaised. Late and bad orders are
// raised whenever their share is above what is plainly good (kPlainlyGood by its lower limit) or
// has worsened beyond chance, or a target is missed; lost, overcharged, owed and out-of-stock ones
// whenever there is one. Said to have gone well are targets that are surely met, shares that have
// improved beyond chance, and nothing late or bad in kFewestToJudge orders or more; at most
// kMostPraised.
//
// At stake is what the cost settings make of it; without them what was paid for these orders. By
// one currency, which `worth` converts to; what cannot be converted goes last.
//
// Pure and thread-safe.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "review/account.h"
#include "review/portions.h"

namespace plumblane {

inline constexpr size_t kMostRaised = 6, kMostPraised = 3;

// A share of late or of bad orders below which nothing is raised unless something else says so.
inline constexpr double kPlainlyGood = 0.02;

struct Stakes {
  std::string currency;  // of points; "" = no common one: amounts stay in their own
  Worth worth;           // in `currency`
};

// REQUIRES: account.IsSupplier(), its changes judged.
std::vector<Point> PointsToRaise(const Account& account, const Stakes& stakes);

// What the raised ones are worth together.
StakeSum AtStake(const std::vector<Point>& points, const Stakes& stakes);

}  // namespace plumblane
