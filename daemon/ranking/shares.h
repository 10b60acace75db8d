// How to split the next orders among suppliers, and which one an order gets.
//
// Without trials the lowest expected cost gets everything. With trials:
//   - whoever is expected to cost at most kReach standard deviations of the difference more gets
//     its chance of being cheapest under sharpened posteriors (Thompson sampling: drawing an order
//     by these shares is the same as taking the cheapest of one joint draw);
//   - all others but the surely dearer get a floor, so that what is believed of them stays alive;
//     the floors together cost at most kFloorBudget of an order's expected cost;
//   - all of it is capped, because a trial order goes to a real customer.
//
// In simulation (tests/bench/sourcing_bench, the table is in DEVELOPERS.md) this loses less than
// "best lifetime rate" and "cheapest quote" wherever that rule is not the best of all, with 3 % of
// orders as trials. Chances and floors for all under a cap of a tenth, which is the textbook's,
// lose to the former where the best supplier turns bad: trials of the clearly dearer cost more
// there than they find.
//
// Sources: O. Chapelle, L. Li, "An empirical evaluation of Thompson sampling", NIPS 24 (2011)
// 2249-2257 (delayed feedback, sharpening); S. Agrawal, N. Goyal, COLT 2012, PMLR 23:39 (regret);
// V. Raj, S. Kalyani, arXiv:1707.09727 (2017) (drift); figures: simulation, tests/bench.
//
// Pure and thread-safe.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "ranking/cost.h"

namespace plumblane {

inline constexpr double kSharpening = 4;

// Chances are given up to this many standard deviations of the difference of two costs.
inline constexpr double kReach = 0.15;

// A floor keeps this many orders' worth of evidence of a supplier, as far as the budget goes.
inline constexpr double kLiveWeight = 5;

// What floors may cost together, as a share of the lowest expected cost: a half in a thousand.
inline constexpr double kFloorBudget = 0.0005;

// REQUIRES: orders_a_day >= 0, half_life_days > 0, most_share in 0..1, most_cost >= 0.
struct ShareRules {
  bool trials = false;
  // Orders a day among these candidates (0 = unknown: no floor), and the half-life of what is known
  // of them: the floor of a supplier is kLiveWeight ln 2 / half_life_days orders a day. Short
  // half-lives cost more than they find where nothing changes: best when these candidates get 200
  // orders or more in one together.
  double orders_a_day = 0;
  double half_life_days = 45;
  // Others than the lowest expected cost, floors included, get at most this share together, equals
  // of the lowest too ...
  double most_share = 0.2;
  // ... and cost at most this much more per order on average, minor units over all orders. Where
  // either cap binds, the others keep their proportions, below their floors if need be.
  std::optional<double> most_cost = std::nullopt;
};

// Sums to 1. The lowest expected cost (the first of equals) gets what the others leave. One whose
// low limit (2.5 %) exceeds the best one's high limit (97.5 %) gets nothing.
// Costs about 4 us a candidate with trials (200: 0.7 ms), of thousands 7.
// REQUIRES: not empty.
std::vector<double> SharesToGive(std::span<const CostBelief> beliefs, const ShareRules& rules);

// The one an order gets, drawn by the shares with a counter-based generator keyed by the text: the
// same text and proportions, the same pick, on every machine and in every version (a seed that is
// the hash of the text, base/hash.h). Never one whose share is 0.
// REQUIRES: shares not negative, their sum > 0.
size_t PickByShare(std::span<const double> shares, std::string_view key);

// The Herfindahl-Hirschman index of concentration: the sum of squared shares in percent, up to
// 10,000 for a single one; 0 without any. Source: US DOJ and FTC, Horizontal Merger Guidelines.
// REQUIRES: amounts >= 0.
double ConcentrationIndex(std::span<const double> amounts);

}  // namespace plumblane
