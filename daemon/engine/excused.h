// The orders that an excuse is about. Private to engine/.
#pragma once

#include <absl/status/status.h>

#include <functional>

#include "engine/catalog.h"
#include "orders/excuse.h"
#include "storage/store.h"

namespace plumblane {

// The one order that it names, or those due on its lane in its days; `pairs` are
// all that have orders. An order may come more than once.
absl::Status EachExcusedOrder(const Snapshot& snapshot, const PairDirectory& pairs,
                              const Excuse& excuse,
                              const std::function<void(const OrderKey&)>& each);

}  // namespace plumblane
