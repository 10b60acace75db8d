// Applying entries: whatever the order, repetition and split into batches, the same events leave
// the same bytes, and the stored cells are the fold of the stored orders.
#include "engine/applier.h"

#include <absl/strings/str_cat.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "storage/keys.h"
#include "storage/memory_store.h"
#include "support/applied_state.h"
#include "support/order_builder.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::ApplyInBatches;
using test::At;
using test::KeyedEvent;
using test::On;
using test::OrderBuilder;
using test::RandomOrders;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

TEST(Apply, AnyPermutationDuplicationAndSplitLeavesTheSameBytes) {
  for (uint64_t seed = 1; seed <= 60; ++seed) {
    RandomOrders random(seed);
    std::vector<KeyedEvent> events = random.Make(40);
    AppliedState straight;
    ApplyInBatches(straight, events, random);
    ASSERT_EQ(straight.Difference(), "") << "seed " << seed;

    std::vector<KeyedEvent> shuffled = events;
    for (const KeyedEvent& event : events) {
      for (int copies = random.Below(3); copies > 0; --copies) shuffled.push_back(event);
    }
    std::shuffle(shuffled.begin(), shuffled.end(), random.generator());
    AppliedState other;
    ApplyInBatches(other, shuffled, random);
    ASSERT_EQ(other.Difference(), "") << "seed " << seed;
    ASSERT_TRUE(straight.Bytes() == other.Bytes()) << "seed " << seed;
    EXPECT_EQ(straight.catalog().order_count, other.catalog().order_count);
    EXPECT_EQ(straight.catalog().event_count, other.catalog().event_count);
    EXPECT_EQ(straight.catalog().pairs->by_supplier, other.catalog().pairs->by_supplier);
  }
}

// The changes of a batch as texts.
std::vector<std::string> ChangesOf(const Batch& batch) {
  std::vector<std::string> changes;
  for (const Batch::Change& one : batch.changes) {
    changes.push_back(absl::StrCat(static_cast<int>(one.space), one.key,
                                   one.value ? absl::StrCat("=", *one.value) : " deleted"));
  }
  return changes;
}

TEST(Apply, WhatTheWriterKeepsChangesNothing) {
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    RandomOrders random(seed);
    std::vector<KeyedEvent> events = random.Make(30);
    std::shuffle(events.begin(), events.end(), random.generator());
    AppliedState nothing({}, 0), little({}, 20'000), all({}, 100 << 20);
    for (size_t at = 0; at < events.size();) {
      Submission content;
      for (int size = 1 + random.Below(30); size > 0 && at < events.size(); --size, ++at) {
        content.events.push_back({events[at].order, events[at].event});
      }
      if (random.Below(8) == 0) {
        content.excuses.push_back({absl::StrCat("e", random.Below(3)),
                                   ExcusedOrder{events[0].order, 1}, "strike",
                                   random.Below(2) > 0});
      }
      const std::vector<std::string> expected = ChangesOf(nothing.Apply(content).batch);
      ASSERT_EQ(ChangesOf(little.Apply(content).batch), expected) << "seed " << seed;
      ASSERT_EQ(ChangesOf(all.Apply(content).batch), expected) << "seed " << seed;
    }
  }
}

TEST(Apply, ThousandsOfOneOrderHistoriesFoldTheSameInAnyOrder) {
  for (uint64_t seed = 1; seed <= 3000; ++seed) {
    RandomOrders random(seed * 7919);
    std::vector<KeyedEvent> events = random.Make(2);
    AppliedState straight, other;
    ApplyInBatches(straight, events, random);
    std::shuffle(events.begin(), events.end(), random.generator());
    ApplyInBatches(other, events, random);
    ASSERT_TRUE(straight.Bytes() == other.Bytes()) << "seed " << seed;
  }
}

TEST(Apply, AnExcuseThatTakesTheIdOfAnotherEndsIt) {
  AppliedState state;
  OrderBuilder one({"default", "1"}), other({"default", "2"});
  state.Apply(one.Paid("2026-03-01").Promised("2026-03-05").Delivered("2026-03-09"));
  state.Apply(other.Paid("2026-03-01").Promised("2026-03-05").Delivered("2026-03-09"));
  for (const OrderBuilder* order : {&one, &other}) {
    Submission content;
    content.excuses = {{"e", ExcusedOrder{order->key(), 1}, "strike"}};
    state.Apply(content);
    EXPECT_EQ(state.Difference(), "");
  }
}

TEST(Apply, ExcusesGivenBeforeOrAfterTheOrdersCountTheSame) {
  for (uint64_t seed = 1; seed <= 30; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> events = random.Make(40);
    const Day first = DayOf(events[0].event.time);
    Submission excuses;
    excuses.excuses.push_back(
        {"lane", ExcusedDays{{"VN", "DE", std::nullopt}, first, first + 20}, "strike"});
    excuses.excuses.push_back({"one", ExcusedOrder{events[0].order, 1}, "our mistake"});
    AppliedState before, after, never, withdrawn;
    before.Apply(excuses);
    ApplyInBatches(before, events, random);
    ApplyInBatches(after, events, random);
    after.Apply(excuses);
    ASSERT_TRUE(before.Bytes() == after.Bytes()) << "seed " << seed;
    ASSERT_EQ(after.Difference(), "");

    ApplyInBatches(never, events, random);
    EXPECT_FALSE(never.Bytes() == after.Bytes()) << "the excuse changes nothing, seed " << seed;
    ApplyInBatches(withdrawn, events, random);
    withdrawn.Apply(excuses);
    for (Excuse& excuse : excuses.excuses) excuse.withdrawn = true;
    withdrawn.Apply(excuses);
    ASSERT_TRUE(never.Bytes() == withdrawn.Bytes()) << "seed " << seed;
  }
}

TEST(Apply, ChangedRulesFoldEveryOrderAgain) {
  RandomOrders random(5);
  const std::vector<KeyedEvent> events = random.Make(60);
  FoldRules next;
  next.lost_after_days = 7;
  next.tolerance_millis = 3'600'000;
  AppliedState fresh(next), changed;
  ApplyInBatches(fresh, events, random);
  ApplyInBatches(changed, events, random);
  ASSERT_FALSE(fresh.Bytes() == changed.Bytes());
  Format format{kFormatVersion, {}, next, {}};
  int steps = 0;
  while (format.next_rules) {
    const auto batch = RefoldSome(*changed.store().TakeSnapshot(), changed.catalog(), 7, format);
    ASSERT_TRUE(batch.ok()) << batch.status();
    ASSERT_TRUE(changed.store().Write(*batch, true).ok());
    ++steps;
  }
  EXPECT_GT(steps, 3);
  EXPECT_EQ(format.rules, next);
  EXPECT_TRUE(fresh.Bytes() == changed.Bytes());
}

TEST(Apply, FatesSayWhatBecameOfEachEvent) {
  AppliedState state;
  OrderBuilder order;
  order.Paid("2026-03-02").Shipped("2026-03-01").Delivered("2026-03-05");
  const Applied first = state.Apply(order);
  using Kind = EventFate::Kind;
  EXPECT_EQ(first.fates[0].kind, Kind::kAccepted);
  EXPECT_EQ(first.fates[1].kind, Kind::kContradiction);
  EXPECT_EQ(first.fates[1].message, "shipped before it was paid");
  EXPECT_EQ(first.fates[2].kind, Kind::kAccepted);
  EXPECT_EQ(first.standings[2], (StandingDelta{1, 0, 1}));

  EXPECT_EQ(state.Apply(order).fates[0].kind, Kind::kDuplicate);
  order.With([](Event& e) { e.time = At("2026-03-06"); });
  EXPECT_EQ(state.Apply(order).fates[2].kind, Kind::kConflict);
  OrderBuilder waiting({"default", "2"});
  waiting.Retracted("2026-03-01", "never seen");
  const Applied last = state.Apply(waiting);
  EXPECT_EQ(last.fates[0].kind, Kind::kWaiting);
  EXPECT_EQ(last.standings[0], (StandingDelta{1, 1, 0}));
  EXPECT_EQ(state.catalog().event_count, 4);
  EXPECT_EQ(state.catalog().order_count, 2);
}

TEST(Apply, TheSameEventIdInAnotherOrderSourceOrPartIsAnotherEvent) {
  AppliedState state;
  OrderBuilder one({"default", "1"}), two({"default", "2"}), shop({"other", "1"});
  state.Apply(one.Paid("2026-03-01"));
  EXPECT_EQ(state.Apply(two.Paid("2026-03-01")).fates[0].kind, EventFate::Kind::kAccepted);
  EXPECT_EQ(state.Apply(shop.Paid("2026-03-01")).fates[0].kind, EventFate::Kind::kAccepted);
  OrderBuilder part({"default", "1"}), source({"default", "1"});
  EXPECT_EQ(state.Apply(part.Part(2).Paid("2026-03-01")).fates[0].kind, EventFate::Kind::kAccepted);
  EXPECT_EQ(state.Apply(source.From("b").Paid("2026-03-01")).fates[0].kind,
            EventFate::Kind::kAccepted);
  EXPECT_EQ(state.catalog().event_count, 5);
}

TEST(Apply, AnOrderHoldsAThousandEventsAndSaysWhenItIsFull) {
  AppliedState state;
  OrderBuilder order;
  for (size_t i = 0; i <= kMaxEventsPerOrder; ++i) order.Answered("2026-03-01");
  const Applied applied = state.Apply(order);
  EXPECT_NE(applied.fates[kMaxEventsPerOrder - 1].kind, EventFate::Kind::kOrderFull);
  EXPECT_EQ(applied.fates[kMaxEventsPerOrder].kind, EventFate::Kind::kOrderFull);
  EXPECT_EQ(state.catalog().event_count, static_cast<int64_t>(kMaxEventsPerOrder));
}

TEST(Apply, SourcesBecomePeriodicLiveAndRetired) {
  AppliedState state;
  const auto report = [&state](std::variant<Instant, SourceNews::Live, SourceNews::Retired> news) {
    Submission content;
    content.news.push_back({"mondays", news});
    state.Apply(content);
    return state.catalog().sources.at("mondays");
  };
  EXPECT_EQ(report(At("2026-03-02")).complete_through, At("2026-03-02"));
  // An older file that arrives later does not move it back.
  EXPECT_EQ(report(At("2026-02-01")).complete_through, At("2026-03-02"));
  // It has sent no deliveries: it limits nothing.
  EXPECT_EQ(state.catalog().NewsHorizon(), std::nullopt);
  state.Apply(OrderBuilder().From("mondays").Delivered("2026-03-01"));
  EXPECT_EQ(state.catalog().NewsHorizon(), At("2026-03-02"));
  EXPECT_TRUE(report(SourceNews::Retired{}).retired);
  EXPECT_EQ(state.catalog().NewsHorizon(), std::nullopt);
  EXPECT_TRUE(report(At("2026-03-09")).limits_news());
  EXPECT_FALSE(report(SourceNews::Live{}).periodic);
  EXPECT_EQ(state.catalog().NewsHorizon(), std::nullopt);
}

TEST(Apply, LatestEventTimeNeverFallsAndIgnoresRetractions) {
  AppliedState state;
  state.Apply(OrderBuilder().Paid("2026-03-05"));
  state.Apply(OrderBuilder({"default", "2"}).Paid("2026-03-01").Retracted("2027-01-01", "x"));
  EXPECT_EQ(state.catalog().latest_event, At("2026-03-05"));
}

TEST(Apply, ACatalogReadBackIsTheOneThatWasApplied) {
  RandomOrders random(11);
  AppliedState state;
  ApplyInBatches(state, random.Make(50), random);
  const auto loaded = LoadCatalog(*state.store().TakeSnapshot());
  ASSERT_TRUE(loaded.ok());
  EXPECT_EQ(loaded->sources, state.catalog().sources);
  EXPECT_EQ(loaded->pairs->by_supplier, state.catalog().pairs->by_supplier);
  EXPECT_EQ(loaded->log_sequence, state.catalog().log_sequence);
  EXPECT_EQ(loaded->latest_event, state.catalog().latest_event);
  EXPECT_EQ(loaded->order_count, state.catalog().order_count);
}

TEST(FindDifference, NamesAClaimThatIsNotIndexedAndOneThatNoOrderMakes) {
  AppliedState state;
  state.Apply(OrderBuilder().Paid("2026-03-01").Disputed("2026-03-05"));
  ASSERT_EQ(state.Difference(), "");
  std::string claim;
  ASSERT_TRUE(state.store()
                  .TakeSnapshot()
                  ->Scan(Space::kIndex, PairIndexPrefix(PairIndex::kClaims), "",
                         [&](auto key, auto) {
                           claim = std::string(key);
                           return true;
                         })
                  .ok());
  ASSERT_NE(claim, "");
  Batch without, alien;
  without.Delete(Space::kIndex, claim);
  ASSERT_TRUE(state.store().Write(without, true).ok());
  EXPECT_THAT(state.Difference(), ::testing::HasSubstr("is missing"));
  alien.Put(Space::kIndex, claim, "");
  claim[0] = static_cast<char>(PairIndex::kUnclaimed);
  alien.Put(Space::kIndex, claim, "");
  ASSERT_TRUE(state.store().Write(alien, true).ok());
  EXPECT_THAT(state.Difference(), ::testing::HasSubstr("no order makes it"));
}

TEST(FindDifference, NamesACellThatNoOrderMakes) {
  AppliedState state;
  state.Apply(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10"));
  ASSERT_EQ(state.Difference(), "");
  Batch damage;
  damage.Delete(Space::kCells,
                CellPageKey({{"S", {"VN", "DE", ""}}, Measure::kOnTime, On("2026-03-10")}));
  ASSERT_TRUE(state.store().Write(damage, true).ok());
  EXPECT_THAT(state.Difference(), ::testing::HasSubstr("is missing"));
}

}  // namespace
}  // namespace plumblane
