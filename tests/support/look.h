// What a view sees of a state that was applied in memory.
#pragma once

#include <memory>

#include "engine/view.h"
#include "support/applied_state.h"

namespace plumblane::test {

inline View LookAt(const AppliedState& state, Instant now) {
  return View(state.store().TakeSnapshot(), std::make_shared<const Catalog>(state.catalog()),
              std::make_shared<Memory>(1 << 20), {}, now);
}

// The orders of events, folded by themselves, without the engine. `events` name no event twice.
inline std::map<OrderKey, OrderState> FoldAll(const std::vector<KeyedEvent>& events,
                                              const ExcuseBook& excuses = {}) {
  std::map<OrderKey, std::vector<Event>> by_order;
  for (const KeyedEvent& one : events) by_order[one.order].push_back(one.event);
  std::map<OrderKey, OrderState> folded;
  for (auto& [order, own] : by_order) {
    std::sort(own.begin(), own.end(), Earlier);
    folded[order] = Fold(order, own, {}, excuses);
  }
  return folded;
}

}  // namespace plumblane::test
