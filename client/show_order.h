// The story of an order: its facts, its events, how it counts, what is missing, what contradicts.
//
// Pure.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/orders.pb.h"

namespace plumblane::client {

std::string ShowOrder(const v1::Order& order, int width);

// What is forgiven, as a table.
std::string ShowExcuses(const std::vector<v1::Excuse>& excuses, int width);

// What one excuse covers: "PL-IE, due 2026-08-17 to 2026-08-23", "order meadow/2525".
std::string CoverageText(const v1::Excuse& excuse);

}  // namespace plumblane::client
