// What a shop's own orders suggest for its cost settings: sales, refunds by the shop, parts sent
// again. A start to be read and changed, never used by itself.
//
// Pure; not thread-safe.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "agreements/costs.h"
#include "agreements/items.h"
#include "base/time.h"
#include "orders/fold.h"

namespace plumblane {

struct CostProposal {
  CostSettings settings;
  // One for each figure, in words: what it rests on, or why it could not be told.
  std::vector<std::string> reasons;
};

class CostProposer {
 public:
  // `items` must outlive it. What never arrived is lost once its day is over by the horizon.
  CostProposer(const ItemBook& items, Instant horizon) : items_(items), horizon_(horizon) {}

  void Add(const OrderState& order);

  // In the currency of most sales; figures in others are left out, and said. One class for each
  // class of items with sales, "" among them, all for `shop`.
  CostProposal Propose(const std::string& shop) const;

 private:
  struct Kind {
    int64_t cases = 0, sent_again = 0;
    double refund_shares = 0;  // sum over the cases of refund / sale
  };
  struct Seen {
    std::vector<int64_t> sales;  // minor units
    int64_t late = 0;
    double late_refunds = 0;  // minor units, of the late ones
    std::array<Kind, kDefectKinds.size()> kinds;
  };

  const ItemBook& items_;
  Instant horizon_;
  std::map<std::string, std::map<std::string, Seen>> seen_;  // by currency and item class
};

}  // namespace plumblane
