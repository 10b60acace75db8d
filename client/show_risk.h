// What is at risk, beside how suppliers do: `suppliers --risk`, and lines on the screen of one.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

// A table of the suppliers, those with most orders first, and what it means in plain words.
std::string ShowRisk(const v1::Risk& risk, int width);

// Facts of the first supplier of `risk`: money under way, shares, charged against quoted. Nothing
// for what there is nothing to tell of.
std::string RiskLines(const v1::Risk& risk, int width);

}  // namespace plumblane::client
