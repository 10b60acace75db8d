// The state that entries leave in a store of memory, applied one by one.
#pragma once

#include <absl/strings/str_cat.h>
#include <gtest/gtest.h>

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "engine/applier.h"
#include "storage/memory_store.h"
#include "support/order_builder.h"
#include "support/random_orders.h"

namespace plumblane::test {

// A store and catalog that entries are applied to.
class AppliedState {
 public:
  // The writer keeps so many bytes decoded: by default too few for all.
  explicit AppliedState(FoldRules rules = {}, size_t kept_bytes = 30'000)
      : rules_(rules), memory_(kept_bytes) {}

  Applied Apply(const Submission& content) {
    auto applied =
        plumblane::Apply(*store_.TakeSnapshot(), catalog_, rules_, catalog_.log_sequence + 1,
                         {At("2026-01-01"), content}, memory_);
    EXPECT_TRUE(applied.ok()) << applied.status();
    EXPECT_TRUE(store_.Write(applied->batch, true).ok());
    catalog_ = applied->catalog;
    return *std::move(applied);
  }
  Applied Apply(const OrderBuilder& order) {
    Submission content;
    for (const Event& event : order.events()) content.events.push_back({order.key(), event});
    return Apply(content);
  }
  std::string Difference() const {
    return *FindDifference(*store_.TakeSnapshot(), catalog_, rules_);
  }
  // All that must not depend on the order of events.
  std::map<std::string, std::string> Bytes() const {
    std::map<std::string, std::string> bytes;
    const auto snapshot = store_.TakeSnapshot();
    for (const Space space : {Space::kOrders, Space::kCells, Space::kIndex}) {
      const absl::Status scanned = snapshot->Scan(space, "", "", [&](auto key, auto value) {
        // When a supplier was last heard of goes by what was known of the order at that time.
        if (space == Space::kIndex && key[0] == 's') return true;
        bytes[absl::StrCat(static_cast<int>(space), std::string(key))] = value;
        return true;
      });
      EXPECT_TRUE(scanned.ok());
    }
    return bytes;
  }
  MemoryStore& store() { return store_; }
  const MemoryStore& store() const { return store_; }
  const Catalog& catalog() const { return catalog_; }
  FoldRules& rules() { return rules_; }

 private:
  FoldRules rules_;
  MemoryStore store_;
  Catalog catalog_;
  WritersMemory memory_;
};

inline void ApplyInBatches(AppliedState& state, const std::vector<KeyedEvent>& events,
                           RandomOrders& random) {
  for (size_t at = 0; at < events.size();) {
    Submission content;
    const int size = 1 + random.Below(40);
    for (int i = 0; i < size && at < events.size(); ++i, ++at) {
      content.events.push_back({events[at].order, events[at].event});
    }
    state.Apply(content);
  }
}

}  // namespace plumblane::test
