// An assignment: which supplier an order was given to, by what numbers, and why. Written once, when
// it is decided; what the others would have cost is never known, only what was expected then.
//
// Plain values. The numbers of enums are part of the bytes on disk: never renumber, only append.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/ids.h"
#include "base/time.h"
#include "cohorts/cell.h"

namespace plumblane {

enum class AssignMode : uint8_t {
  kLowestCost = 1,  // the lowest expected cost, or the lowest share late or bad without costs
  kShared = 2,      // drawn by the shares to give
  kChosen = 3,      // a person's own choice; in no claimed saving
};

// One supplier that was looked at. Amounts in minor units of the assignment's currency.
struct AssignmentCandidate {
  Pair pair;
  std::optional<int64_t> landed;        // the quoted price
  std::optional<double> expected_cost;  // absent without cost settings
  std::optional<double> expected_bad;   // share late or defective
  double share = 0;                     // to give, 0..1
  std::string excluded;                 // why it could not get the order; "" = it could
  bool operator==(const AssignmentCandidate&) const = default;
};

struct Assignment {
  OrderKey order;
  int part = 1;
  Instant time;
  Pair pick;
  std::string destination, item;
  std::string supplier_item;  // what the supplier calls it; "" = the same
  int64_t units = 1;
  std::string currency;  // "" = no amounts
  AssignMode mode = AssignMode::kLowestCost;
  bool trial = false;            // not the lowest expected cost
  std::optional<double> dearer;  // expected, than the lowest expected cost
  // Expected at the decision, against always taking the cheapest quote: its expected cost less that
  // of the pick; none without costs and for
  // a person's own choice.
  std::optional<double> expected_saving;
  std::string reason;                           // one plain sentence
  std::string instead_of;                       // supplier that could not deliver; "" = none
  std::vector<AssignmentCandidate> candidates;  // as ranked
  bool operator==(const Assignment&) const = default;
};

}  // namespace plumblane
