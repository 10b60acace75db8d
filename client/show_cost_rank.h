// `rank` once costs and quotes are known: the candidates by expected cost, why, who could not get
// the order, and what the answer does not know. See show_rank.h for the answer before that.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/agreements.pb.h"
#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// With `settings` the arithmetic of each candidate follows, shares refunded taken from them; null =
// not asked for. REQUIRES: an answer by expected cost with at least
// one candidate.
std::string ShowCostRank(const v1::RankSuppliersResponse& answer, const std::string& destination,
                         const v1::CostSettings* settings, int width);

// What to know of it besides, "  - closed until 2026-12-01", one line or more each; "" for nothing.
std::string NotesText(const v1::Candidate& candidate, int width);

// "lotus-works, VN-DE/express: no quote for this item", one line or more each; "" for none.
std::string ExcludedText(const google::protobuf::RepeatedPtrField<v1::ExcludedCandidate>& excluded,
                         int width);

}  // namespace plumblane::client
