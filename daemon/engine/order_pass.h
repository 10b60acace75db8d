// Reads and folds every order of a snapshot, on several threads. Private to engine/.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "orders/fold.h"
#include "orders/plain_order.h"
#include "storage/store.h"

namespace plumblane {

struct OrderPass {
  const Snapshot& snapshot;
  const FoldRules& rules;
  const ExcuseBook& excuses;
  // Called with plain orders as they are stored: true = that is all, it need not be folded. Then
  // with the events of those still open, to the same end. Both on the threads below, as `each`; may
  // be empty.
  std::function<bool(size_t thread, std::string_view record_key, const PlainOrder& order)> plain;
  std::function<bool(const std::vector<Event>& events)> skip;
  // Asked now and then on the calling thread; may be empty.
  std::function<bool()> give_up;
  std::string shop = {};  // "" = all
};

// `each` is called for every other order, on one of `threads` threads, whose number from 0 on it is
// given; in no order. Costs some 4 us of one thread for each order that is folded, a few tenths for
// a plain one and 1 us of the calling one, and a few megabytes. Errors: those of the store;
// DATA_LOSS for a malformed record; CANCELLED once `give_up` says so. REQUIRES: threads > 0.
using EachOrder = std::function<void(size_t thread, const OrderKey& order,
                                     const std::vector<Event>& events, const OrderState& state)>;
absl::Status ForEachOrder(const OrderPass& pass, size_t threads, const EachOrder& each);

}  // namespace plumblane
