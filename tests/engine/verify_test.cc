// Verify: nothing to say of a state that entries made, and the first difference of one that was
// changed behind their back, whichever record it was; from the whole log and from the orders.
#include "engine/verify.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>

#include "engine/engine.h"
#include "storage/keys.h"
#include "storage/memory_store.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::FixedClock;
using test::OrderBuilder;
using ::testing::HasSubstr;

bool GoOn(const VerifyProgress&) { return true; }

// A store to which an engine gave so many entries.
class Kept {
 public:
  Kept(uint64_t kept_entries, int entries) {
    const FixedClock clock(At("2026-06-01T12:00"));
    StoreLog log(store);
    EngineOptions options;
    options.kept_entries = kept_entries;
    Engine engine(store, log, clock, options);
    EXPECT_TRUE(engine.Start().ok());
    for (int number = 0; number < entries; ++number) {
      Submission submission;
      OrderBuilder order({"default", absl::StrCat("order-", number)});
      order.Paid("2026-03-01").Promised("2026-03-10").Shipped("2026-03-02");
      if (number % 2 == 0) order.Delivered("2026-03-08");
      for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
      std::promise<absl::Status> done;
      engine.Submit(std::move(submission),
                    [&](const Receipt& receipt) { done.set_value(receipt.status); });
      EXPECT_TRUE(done.get_future().get().ok());
    }
    engine.Stop();
  }
  Verified Look() { return Verify(*store.TakeSnapshot(), GoOn).value(); }

  MemoryStore store;
};

TEST(Verify, SaysNothingOfWhatEntriesMade) {
  for (const uint64_t kept : {uint64_t{16}, uint64_t{1000}}) {
    const Verified verified = Kept(kept, 40).Look();
    EXPECT_EQ(verified.difference, "");
    EXPECT_EQ(verified.log_sequence, 40u);
    EXPECT_EQ(verified.order_count, 40);
    EXPECT_EQ(verified.event_count, 140);
    EXPECT_EQ(verified.from_log(), kept == 1000);
    EXPECT_EQ(verified.first_kept_sequence, kept == 1000 ? 1u : 24u);
  }
  EXPECT_EQ(Kept(16, 0).Look().difference, "");
}

// Every record of a space, one after the other, taken away or changed.
void ExpectEachIsMissed(uint64_t kept_entries, Space space, int least) {
  Kept kept(kept_entries, 30);
  std::vector<std::pair<std::string, std::string>> records;
  ASSERT_TRUE(kept.store.TakeSnapshot()
                  ->Scan(space, "", "",
                         [&](auto key, auto value) {
                           records.emplace_back(key, value);
                           return true;
                         })
                  .ok());
  ASSERT_GE(static_cast<int>(records.size()), least);
  for (const auto& [key, value] : records) {
    // The latest news of a supplier is in no order; only the whole log tells.
    if (kept_entries < 1000 && space == Space::kIndex && key[0] == 's') continue;
    Batch away, back;
    away.Delete(space, key);
    back.Put(space, key, value);
    ASSERT_TRUE(kept.store.Write(away, true).ok());
    EXPECT_NE(kept.Look().difference, "") << "without " << key;
    ASSERT_TRUE(kept.store.Write(back, true).ok());
  }
  EXPECT_EQ(kept.Look().difference, "") << "control: put back, nothing is missing";
}

TEST(Verify, MissesEachOrderCellAndIndexThatIsTakenAway) {
  for (const uint64_t kept : {uint64_t{16}, uint64_t{1000}}) {
    ExpectEachIsMissed(kept, Space::kOrders, 30);
    ExpectEachIsMissed(kept, Space::kCells, 5);
    ExpectEachIsMissed(kept, Space::kIndex, 30);
  }
}

TEST(Verify, MissesEntriesOfTheLog) {
  Kept kept(16, 40);
  Batch gap;
  gap.Delete(Space::kLog, LogKey(30));
  ASSERT_TRUE(kept.store.Write(gap, true).ok());
  EXPECT_THAT(kept.Look().difference, HasSubstr("entry 30 is missing"));
  Batch end;
  for (uint64_t sequence = 30; sequence <= 40; ++sequence) {
    end.Delete(Space::kLog, LogKey(sequence));
  }
  ASSERT_TRUE(kept.store.Write(end, true).ok());
  EXPECT_THAT(kept.Look().difference, HasSubstr("the log ends at 29"));
}

TEST(Verify, FromTheLogFindsAChangeThatIsConsistentInItself) {
  // Another event in the order's record and in all that follows from it: as if it had been told.
  Kept kept(1000, 10), told(1000, 11);
  Batch all;
  const auto snapshot = told.store.TakeSnapshot();
  for (const Space space : {Space::kMeta, Space::kOrders, Space::kCells, Space::kIndex}) {
    ASSERT_TRUE(snapshot
                    ->Scan(space, "", "",
                           [&](auto key, auto value) {
                             if (key != kProgressKey) {
                               all.Put(space, std::string(key), std::string(value));
                             }
                             return true;
                           })
                    .ok());
  }
  ASSERT_TRUE(kept.store.Write(all, true).ok());
  EXPECT_NE(kept.Look().difference, "");
}

TEST(Verify, EndsWhenNobodyWantsToKnow) {
  Kept kept(1000, 5);
  const auto given_up = Verify(*kept.store.TakeSnapshot(), [](auto&) { return false; });
  EXPECT_TRUE(absl::IsCancelled(given_up.status())) << given_up.status();
}

}  // namespace
}  // namespace plumblane
