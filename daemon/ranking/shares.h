// How to split the next orders among suppliers, and which one an order gets.
//
// Without trials the lowest expected cost gets everything. With trials each gets its chance of
// being cheapest under sharpened posteriors (Thompson sampling: drawing an order by these shares is
// the same as taking the cheapest of one joint draw), with a floor, so that what is believed of a
// supplier stays alive, and with caps, because a trial order goes to a real customer.
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

struct ShareRules {
  bool trials = false;
  // Orders a day among these candidates, and the half-life: the floor of a supplier is
  // kLiveWeight ln 2 / half_life orders a day, enough to keep kLiveWeight orders' worth of
  // evidence.
  double orders_a_day = 0;  // >= 0; 0 = unknown: no floor
  double half_life_days = 45;
  // Others than the lowest expected cost get at most this share together, 0..1 ...
  double most_share = 0.1;
  // ... and cost at most this much more per order on average.
  std::optional<double> most_cost = std::nullopt;
};
inline constexpr double kLiveWeight = 5;

// Sums to 1. The lowest expected cost (the first of equals) gets what the others leave. One whose
// low limit (2.5 %) exceeds the best one's high limit gets nothing.
// REQUIRES: not empty.
std::vector<double> SharesToGive(std::span<const CostBelief> beliefs, const ShareRules& rules);

// The one an order gets, drawn by the shares with a counter-based generator keyed by the text: the
// same text and shares, the same pick, on every machine. Never one whose share is 0.
// REQUIRES: shares not negative, their sum > 0.
size_t PickByShare(std::span<const double> shares, std::string_view key);

// The Herfindahl-Hirschman index of concentration: the sum of squared shares in percent, up to
// 10,000 for a single one; 0 without any. Source: US DOJ and FTC, Horizontal Merger Guidelines.
// REQUIRES: amounts >= 0.
double ConcentrationIndex(std::span<const double> amounts);

}  // namespace plumblane
