// Entries applied while the one before is not yet written, and written as late as is allowed: what
// they change is what they would change if each were written before the next.
#include "engine/lagging_snapshot.h"

#include <gtest/gtest.h>

#include <functional>
#include <optional>

#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::OrderBuilder;

// Does what the committer does, but writes an entry only when it must.
class LateWriter {
 public:
  explicit LateWriter(size_t kept_bytes) : memory_(kept_bytes) {}

  Applied Apply(const Submission& content) {
    const LaggingSnapshot snapshot(store_.TakeSnapshot(),
                                   [this]() -> absl::StatusOr<std::shared_ptr<const Snapshot>> {
                                     Write();
                                     return store_.TakeSnapshot();
                                   });
    auto applied = plumblane::Apply(snapshot, catalog_, {}, catalog_.log_sequence + 1,
                                    {test::At("2026-01-01"), content}, memory_);
    EXPECT_TRUE(applied.ok()) << applied.status();
    late_ += unwritten_ ? 1 : 0;
    Write();
    catalog_ = applied->catalog;
    unwritten_ = applied->batch;
    if (!applied->keeps_all_touched) Write();
    return *std::move(applied);
  }

  // Entries whose pages and orders were made while the one before was not written.
  int late() const { return late_; }

 private:
  void Write() {
    if (unwritten_) {
      EXPECT_TRUE(store_.Write(*unwritten_, true).ok());
    }
    unwritten_.reset();
  }

  MemoryStore store_;
  Catalog catalog_;
  WritersMemory memory_;
  std::optional<Batch> unwritten_;
  int late_ = 0;
};

void ExpectSame(const Applied& one, const Applied& other) {
  ASSERT_EQ(one.batch.changes.size(), other.batch.changes.size());
  for (size_t i = 0; i < one.batch.changes.size(); ++i) {
    const Batch::Change &a = one.batch.changes[i], &b = other.batch.changes[i];
    ASSERT_TRUE(a.space == b.space && a.key == b.key && a.value == b.value) << i;
  }
}

constexpr int kSuppliers = 60;

// What happens to an order of each supplier of these.
Submission HappensTo(int first, int end, const std::function<void(OrderBuilder&)>& what) {
  Submission content;
  for (int i = first; i < end; ++i) {
    OrderBuilder order({"shop", std::to_string(i)});
    what(order);
    order.With([i](Event& event) {
      event.event_id = absl::StrCat(static_cast<int>(event.type));
      if (event.type == EventType::kPaid) event.supplier = absl::StrCat("supplier-", 100 + i);
    });
    for (const Event& event : order.events()) content.events.push_back({order.key(), event});
  }
  return content;
}

TEST(Lagging, WhatALargeEntryForgetsOfItselfAndOfTheOneBeforeIsWrittenByThen) {
  for (const size_t kept : {0, 40'000, 100 << 20}) {
    LateWriter late(kept);
    AppliedState written;
    const Submission entries[] = {
        HappensTo(0, kSuppliers,
                  [](OrderBuilder& order) { order.Paid("2026-03-02").Promised("2026-03-20"); }),
        HappensTo(kSuppliers - 1, kSuppliers,
                  [](OrderBuilder& order) { order.Shipped("2026-03-04"); }),
        HappensTo(0, kSuppliers, [](OrderBuilder& order) { order.Delivered("2026-03-08"); }),
        HappensTo(0, 1,
                  [](OrderBuilder& order) { order.Disputed("2026-03-10", Reason::kDamaged); }),
    };
    for (const Submission& content : entries) {
      ASSERT_NO_FATAL_FAILURE(ExpectSame(late.Apply(content), written.Apply(content)))
          << kept << " bytes kept";
    }
    if (kept > 1 << 20) {
      EXPECT_EQ(late.late(), 3);
    }
  }
}

}  // namespace
}  // namespace plumblane
