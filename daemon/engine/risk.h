// Risk beside reliability: what is paid for and not yet there, how much depends on whom, who is
// silent. As of now.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"

namespace plumblane {

using Sums = std::map<std::string, int64_t>;  // minor units by currency, none 0

// Of the orders of one currency that had a quote: what they were charged and what was quoted.
struct Charges {
  int64_t order_count = 0, charged = 0, quoted = 0;
  bool operator==(const Charges&) const = default;
};

struct SupplierRisk {
  std::string supplier;
  int64_t underway_count = 0;
  Sums exposure;                           // paid for what is under way
  int64_t order_count = 0;                 // paid in the days asked
  Sums paid;                               // likewise
  std::map<std::string, Charges> charges;  // of those, by currency
  double order_share = 0;                  // of all suppliers
  std::optional<double> money_share;
  std::optional<Instant> last_event;
  // Days without any event of it while orders wait for it.
  std::optional<double> silent_days;
};

struct RiskAnswer {
  std::vector<SupplierRisk> suppliers;  // ascending
  // Herfindahl-Hirschman index (ranking/shares.h); none without orders.
  std::optional<double> order_concentration, money_concentration;
  std::string currency;       // of shares of money; "" = there is none to count in, and
  std::string money_problem;  // why
};

}  // namespace plumblane
