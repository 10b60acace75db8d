// What the writer keeps decoded: found again, forgotten by age, never more than allowed.
#include "engine/kept.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "support/applied_state.h"

namespace plumblane {
namespace {

TEST(Kept, ForgetsWhatWasNotAskedForLongest) {
  Kept<int> kept(3000);
  for (int i = 0; i < 3; ++i) kept.Put(std::to_string(i), i, 700);
  kept.MakeRoom();
  ASSERT_NE(kept.Find("0"), nullptr);
  kept.Put("3", 3, 700);
  ASSERT_NE(kept.Find("1"), nullptr) << "nothing goes before MakeRoom";
  kept.MakeRoom();
  EXPECT_LE(kept.bytes(), 3000u);
  EXPECT_EQ(kept.Find("2"), nullptr);
  ASSERT_NE(kept.Find("1"), nullptr);
  EXPECT_EQ(kept.Find("1")->value, 1);
  kept.Weigh(*kept.Find("1"), 2500);
  kept.MakeRoom();
  EXPECT_EQ(kept.Find("0"), nullptr);
  EXPECT_NE(kept.Find("1"), nullptr);
  kept.Clear();
  EXPECT_EQ(kept.Find("1"), nullptr);
  EXPECT_EQ(kept.bytes(), 0u);
}

TEST(Kept, KeepsWhateverWasAskedForSinceTheLastMakeRoom) {
  Kept<int> kept(3000);
  for (int i = 0; i < 6; ++i) kept.Put(std::to_string(i), i, 700);
  kept.MakeRoom();
  for (int i = 0; i < 6; ++i) EXPECT_NE(kept.Find(std::to_string(i)), nullptr);
  EXPECT_GT(kept.bytes(), 3000u);
  kept.MakeRoom();
  ASSERT_NE(kept.Find("5"), nullptr);
  kept.MakeRoom();
  EXPECT_LE(kept.bytes(), 3000u);
  EXPECT_NE(kept.Find("5"), nullptr);
  EXPECT_EQ(kept.Find("0"), nullptr);
}

TEST(Kept, OrdersThatAreOnlyRepeatedAndThoseThatAreNotThereWeighToo) {
  test::AppliedState state;
  Submission content;
  for (int i = 0; i < 100; ++i) {
    test::OrderBuilder order({"shop", std::to_string(i)});
    order.Paid("2026-03-02");
    for (const Event& event : order.events()) content.events.push_back({order.key(), event});
  }
  state.Apply(content);
  WritersMemory memory(100 << 20);
  const auto snapshot = state.store().TakeSnapshot();
  Submission other = content;
  other.assignments.emplace_back().order = {"shop", "unknown"};
  ASSERT_TRUE(Apply(*snapshot, state.catalog(), state.rules(), 2, {{}, other}, memory).ok());
  const auto bytes = [&] { return memory.orders[0].bytes() + memory.orders[1].bytes(); };
  EXPECT_GE(bytes(), 100 * sizeof(Event));
  const size_t before = bytes();
  ASSERT_TRUE(Apply(*snapshot, state.catalog(), state.rules(), 2, {{}, other}, memory).ok());
  EXPECT_EQ(bytes(), before) << "what is kept is not kept twice";
}

// Counts the pages that are asked for.
class CountingSnapshot final : public Snapshot {
 public:
  explicit CountingSnapshot(std::shared_ptr<const Snapshot> of) : of_(std::move(of)) {}
  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    return of_->Get(space, key);
  }
  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    if (space == Space::kCells) {
      asked += keys.size();
      most_at_a_time = std::max(most_at_a_time, keys.size());
    }
    return of_->GetAll(space, keys);
  }
  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    return of_->Scan(space, prefix, from, each);
  }

  mutable size_t asked = 0, most_at_a_time = 0;

 private:
  const std::shared_ptr<const Snapshot> of_;
};

TEST(Kept, ALargeEntryHoldsPagesByTheThousandAndChangesTheSameAsSmallOnes) {
  Submission content;
  test::AppliedState large, small;
  for (int i = 0; i < 1'500; ++i) {
    test::OrderBuilder order({"shop", std::to_string(i)});
    order.Paid("2026-03-02").With([i](Event& event) { event.supplier = "s" + std::to_string(i); });
    order.Shipped("2026-03-04").Delivered("2026-03-08");
    for (const Event& event : order.events()) content.events.push_back({order.key(), event});
    small.Apply(order);
  }
  const CountingSnapshot snapshot(large.store().TakeSnapshot());
  WritersMemory memory(30'000);
  ASSERT_TRUE(Apply(snapshot, large.catalog(), large.rules(), 1, {{}, content}, memory).ok());
  EXPECT_GT(snapshot.asked, snapshot.most_at_a_time) << "all at once";
  large.Apply(content);
  EXPECT_EQ(large.Bytes(), small.Bytes());
}

}  // namespace
}  // namespace plumblane
