// `rank` without costs: the candidates by their share late or bad, one plain sentence of what to
// do, and why it is not by cost. See show_cost_rank.h for the answer by cost.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// REQUIRES: at least one candidate.
std::string ShowRank(const v1::RankSuppliersResponse& answer, const std::string& destination,
                     bool explain, int width);

// The sentence alone: "Next order to DE: copper-ferry from TR. ..."
std::string Advice(const v1::RankSuppliersResponse& answer, const std::string& destination);

}  // namespace plumblane::client
