// Cost settings as a TOML file a person writes: `costs load`, `costs show`, `costs propose`.
//
//   currency = "EUR"
//   [trials]                     # may be left out: off
//   on = true
//   most_share = 0.2             # of orders
//   most_cost = "0.20"           # per order on average
//   [[class]]                    # one or more
//   shop = "harbour"             # left out: every shop
//   item_class = "fragile"       # left out: every class
//   sale = "24.90"
//   late_order = "3.50"
//   day_late = "0.40"
//   day_waiting = "0.05"
//   unanswered_day = "0.50"
//   damaged = { refund = 0.5, reship = false }   # likewise quality, wrong_item, missing_part,
//                                                # counterfeit, unsafe, lost
//
// Amounts are texts, so that 0.10 is exactly that. What is left out is 0, or not known. Pure and
// thread-safe. The only part that knows toml++.
#pragma once

#include <cstdint>
#include <string>
#include <variant>
#include <vector>

#include "client/row.h"
#include "plumblane/v1/agreements.pb.h"

namespace plumblane::client {

struct CostFile {
  v1::CostSettings settings;
  std::vector<int64_t> class_lines;  // where each class begins
};

// The settings, or all that is wrong, by line. A key that is not above is wrong.
std::variant<CostFile, std::vector<Rejection>> ReadCosts(const std::string& text);

// A file that reads back equal, `remarks` as comments before it.
std::string WriteCosts(const v1::CostSettings& settings, const std::vector<std::string>& remarks,
                       int width);

}  // namespace plumblane::client
