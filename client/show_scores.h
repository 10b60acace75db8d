// Scores as tables and screens: `suppliers`, `supplier`, `lanes`, `lane`.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/scores.pb.h"
#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// What the first column of a table of scores names.
enum class Naming {
  kSupplier,         // "lotus-works"
  kLane,             // "VN-DE/express"
  kSupplierService,  // under a lane: "lotus-works", "lotus-works/express"
};

// The table with what must be said below it: how much is under way, with `each_underway` by whom,
// thin evidence, what "-" means, what it holds for.
std::string ShowScoreTable(const std::vector<v1::Score>& scores, Naming naming, int width,
                           bool each_underway = false);

// One supplier or lane, and its pairs. `explain` adds what the estimates are made of. A supplier
// comes with its targets and, unless null, what is at risk with it (show_risk.h).
std::string ShowScore(const v1::Score& score, bool explain, int width,
                      const v1::Risk* risk = nullptr);

}  // namespace plumblane::client
