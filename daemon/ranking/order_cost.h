// What one order given to a supplier is expected to cost, part by part, and how sure that is.
//
//     landed                                     price, freight and duty, as quoted
//   + late share x late_order                    late and not lost
//   + days late x day_late                       mean over all orders
//   + days waiting x day_waiting                 from payment, closed days before it included
//   + share of each defect kind x (refund_share x sale + landed if another is sent)
//   + lost share x the same for `lost`
//   + share of disputes x days to the answer x unanswered_day
//
// A lost order is not charged as late too: of the late rate the mean share that is lost is taken
// out. The late and the defect rate are believed as their Betas say; all else (times, mix of kinds,
// claims) enters by its mean. Means of few orders lean on what stands behind them, each time as
// much as kPooledStrength orders: times of the pair on the lane; kinds of defect of the pair on the
// supplier, on the fleet, on all kinds alike; claims, which are the supplier's and not the pair's,
// on the fleet. A promise that differs by more than a fifth from the mean promise of the pair's
// orders is judged by arrivals (scoring/outlook.h). Without a promise days are counted up to
// kLongestPromise.
//
// Pure and thread-safe. Costs 0.06 us (tests/bench/answers_bench).
#pragma once

#include <array>
#include <optional>

#include "agreements/costs.h"
#include "ranking/cost.h"
#include "scoring/beta.h"
#include "scoring/outlook.h"

namespace plumblane {

// What is asked, in minor units of the currency of the costs.
struct OrderTerms {
  double landed = 0;
  std::optional<double> sale;        // none: what would be refunded counts as nothing
  std::optional<int> promised_days;  // none: no order is late
  int closed_days = 0;               // until the supplier opens again
};

// What it is believed by. The Betas are of the pair; `pair` may be without orders.
struct OrderBelief {
  Beta late, bad;
  const Outlook* pair = nullptr;  // null: no order yet
  // Of all pairs that have shipped to the destination: those on the lane, those of the supplier,
  // all; null: none.
  const Outlook* lane = nullptr;
  const Mishaps* supplier = nullptr;
  const Mishaps* fleet = nullptr;
};

struct CostParts {
  double landed = 0, late = 0, days_late = 0, waiting = 0, defect = 0, lost = 0, unanswered = 0;
  // What they come from.
  double late_share = 0, late_days = 0, waiting_days = 0;
  std::array<double, 7> kind_shares{};  // of orders, in the order of Code, lost the last
  double dispute_share = 0, answer_days = 0;
  bool late_by_arrivals = false;  // the late share is by the curve at the days now promised
  bool times_assumed = false;     // no order of its own: by the lane, or the promise itself

  double Expected() const {
    return landed + late + days_late + waiting + defect + lost + unanswered;
  }
  bool operator==(const CostParts&) const = default;
};

struct OrderCost {
  CostParts parts;
  CostBelief belief;  // its Expected() is that of the parts
};
OrderCost CostOf(const OrderTerms& order, const OrderBelief& belief, const CostClass& costs);

}  // namespace plumblane
