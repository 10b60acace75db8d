// What the estimates of a score are made of, in plain sentences: `--explain`.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/scores.pb.h"

namespace plumblane::client {

// The section below the facts of one supplier or lane: what was observed, where the estimates
// start from before its own orders, and how much suppliers and lanes differ at all. Lines are at
// most `width` columns.
std::string ExplainText(const v1::Score& score, int width);

// "0.0860, worth 12 orders"; of a prior that is absent "nothing: no order of anyone has settled".
std::string PriorText(bool has_prior, const v1::Prior& prior);

}  // namespace plumblane::client
