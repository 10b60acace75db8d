// The picks of `assign --file` as CSV: each order as it was asked, and who got it.
//
// Columns: order_id, shop, destination, item, units, sale, currency, part, supplier, supplier_item,
// origin, service, landed, landed_currency, trial, reason, problem. Origin and service are those of
// the pick. An order without a pick has a problem and nothing from `part` to `reason`.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/sourcing.pb.h"
#include "tables/csv.h"

namespace plumblane::client {

// One order of the file. Either the daemon decided on it, or it never got that far.
struct Pick {
  v1::OrderToAssign order;  // as far as it could be read
  v1::AssignOrderResult result;
};

// One line each, and one of column names before them. Pure and thread-safe.
std::string PicksText(const std::vector<Pick>& picks, const CsvStyle& style = {});

// What the quote of the pick comes to, among the candidates; null when it is not told.
const v1::AssignmentCandidate* PickedCandidate(const v1::Assignment& assignment);

}  // namespace plumblane::client
