// The engine: acknowledged means durable and applied, once; readers see whole entries; after a
// failed write nothing is acknowledged; time comes from the clock that was asked for.
#include "engine/engine.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>
#include <latch>
#include <map>
#include <numeric>

#include "engine/applier.h"
#include "storage/keys.h"
#include "storage/memory_store.h"
#include "support/faulty_store.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

using test::At;
using test::FaultyStore;
using test::FixedClock;
using test::OrderBuilder;
using ::testing::HasSubstr;

// An engine on a store, with a way to wait for receipts.
class Running {
 public:
  explicit Running(Store& store, EngineOptions options = {})
      : log_(store), engine_(store, log_, clock_, options) {
    started_ = engine_.Start();
  }
  Receipt Submit(Submission submission) {
    std::promise<Receipt> receipt;
    EXPECT_TRUE(engine_.Submit(std::move(submission),
                               [&](Receipt answer) { receipt.set_value(std::move(answer)); }));
    return receipt.get_future().get();
  }
  Receipt Submit(const OrderBuilder& order) { return Submit(Of(order)); }
  static Submission Of(const OrderBuilder& order) {
    Submission submission;
    for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
    return submission;
  }
  Engine& operator*() { return engine_; }
  Engine* operator->() { return &engine_; }
  const absl::Status& started() const { return started_; }
  FixedClock& clock() { return clock_; }

 private:
  FixedClock clock_{At("2026-06-01T12:00")};
  StoreLog log_;
  Engine engine_;
  absl::Status started_;
};

OrderBuilder SomeOrder(const std::string& id = "1") {
  OrderBuilder order({"default", id});
  return order.Paid("2026-03-01")
      .Promised("2026-03-10")
      .Shipped("2026-03-02")
      .Delivered("2026-03-08");
}

int64_t OrdersSettled(const View& view) {
  const auto score = view.Score({"S", std::nullopt}, {});
  return score.ok() ? score->answer.score.on_time.order_count : 0;
}

TEST(Engine, AReceiptComesWhenTheEventIsDurableAndReadable) {
  FaultyStore store;
  Running engine(store);
  ASSERT_TRUE(engine.started().ok());
  const Receipt receipt = engine.Submit(SomeOrder());
  ASSERT_TRUE(receipt.status.ok());
  EXPECT_EQ(receipt.log_sequence, 1u);
  EXPECT_EQ(OrdersSettled(engine->Look()), 1);
  EXPECT_GE(store.synced_writes, 2);  // the format, the log entry
}

TEST(Engine, WhatWasAcknowledgedSurvivesAPowerCutOnce) {
  for (int count = 1; count <= 40; count += 13) {
    FaultyStore store;
    Running engine(store);
    for (int i = 0; i < count; ++i) {
      ASSERT_TRUE(engine.Submit(SomeOrder(std::to_string(i))).status.ok());
    }
    MemoryStore left;
    store.PowerCutInto(left);
    Running again(left);
    ASSERT_TRUE(again.started().ok()) << again.started();
    EXPECT_EQ(OrdersSettled(again->Look()), count);
    EXPECT_EQ(again.Submit(SomeOrder("0")).fates[0].kind, EventFate::Kind::kDuplicate);
    again->Stop();
    const View view = again->Look();
    EXPECT_EQ(*FindDifference(view.snapshot(), view.catalog(), {}), "");
  }
}

TEST(Engine, AfterAFailedWriteNothingIsAcknowledgedButQuestionsGoOn) {
  for (int writes = 0; writes <= 1; ++writes) {  // the append fails; the apply fails
    FaultyStore store;
    Running engine(store);
    ASSERT_TRUE(engine.Submit(SomeOrder("1")).status.ok());
    store.fail_after = writes;
    EXPECT_TRUE(absl::IsUnavailable(engine.Submit(SomeOrder("2")).status));
    store.fail_after = -1;  // the disk is back: still nothing, until a restart
    EXPECT_TRUE(absl::IsUnavailable(engine.Submit(SomeOrder("3")).status));
    EXPECT_FALSE(engine->AcceptsEvents());
    EXPECT_EQ(OrdersSettled(engine->Look()), 1);

    MemoryStore left;
    store.PowerCutInto(left);
    Running again(left);
    ASSERT_TRUE(again.started().ok());
    EXPECT_TRUE(again.Submit(SomeOrder("2")).status.ok());
    EXPECT_EQ(OrdersSettled(again->Look()), 2);
  }
}

TEST(Engine, WhileToldToRefuseItTakesNothingOfOthersAndThenGoesOn) {
  MemoryStore store;
  Running engine(store);
  ASSERT_TRUE(engine.Submit(SomeOrder("1")).status.ok());
  engine->Refuse("no room");
  const absl::Status refused = engine.Submit(SomeOrder("2")).status;
  EXPECT_TRUE(absl::IsResourceExhausted(refused)) << refused;
  EXPECT_EQ(refused.message(), "no room");
  EXPECT_EQ(engine->refusal(), "no room");
  EXPECT_FALSE(engine->AcceptsEvents());
  // Or a webhook would be told again and again.
  Submission delivered;
  delivered.deliveries.push_back({"hook", 1});
  EXPECT_TRUE(engine.Submit(std::move(delivered)).status.ok());
  EXPECT_EQ(OrdersSettled(engine->Look()), 1);
  engine->Refuse("");
  EXPECT_EQ(engine->refusal(), "");
  EXPECT_TRUE(engine.Submit(SomeOrder("2")).status.ok());
  EXPECT_EQ(OrdersSettled(engine->Look()), 2);
}

TEST(Engine, ManySendersEachGetTheFatesOfTheirOwnEvents) {
  MemoryStore store;
  Running engine(store);
  constexpr int kSenders = 8, kOrders = 50;
  std::latch answered(kSenders * kOrders);
  std::atomic<int> accepted = 0, duplicates = 0;
  std::vector<std::thread> senders;
  for (int s = 0; s < kSenders; ++s) {
    senders.emplace_back([&, s] {
      for (int i = 0; i < kOrders; ++i) {
        // Neighbouring senders send the same orders.
        const auto order = SomeOrder(std::to_string((s / 2) * kOrders + i));
        ASSERT_TRUE(engine->Submit(Running::Of(order), [&](Receipt receipt) {
          EXPECT_EQ(receipt.fates.size(), 3u);
          for (const EventFate& fate : receipt.fates) {
            (fate.kind == EventFate::Kind::kDuplicate ? duplicates : accepted)++;
          }
          answered.count_down();
        }));
      }
    });
  }
  for (std::thread& sender : senders) sender.join();
  answered.wait();
  EXPECT_EQ(accepted, kSenders / 2 * kOrders * 3);
  EXPECT_EQ(duplicates, kSenders / 2 * kOrders * 3);
  EXPECT_EQ(OrdersSettled(engine->Look()), kSenders / 2 * kOrders);
}

TEST(Engine, EventsThatChangeMuchGoInSmallerEntries) {
  // How many events each entry has, of 120 that wait: paid orders of one supplier, or one each.
  const auto events_of_entries = [](bool of_one) {
    MemoryStore store;
    StoreLog log(store);
    const FixedClock clock(At("2026-06-01T12:00"));
    EngineOptions options;
    options.entry_events = 40;
    options.entry_changes = 100;
    Engine engine(store, log, clock, options);
    EXPECT_TRUE(engine.Open().ok());
    std::map<uint64_t, int> entries;
    for (int i = 0; i < 120; ++i) {
      OrderBuilder order({"default", std::to_string(i)});
      order.Paid("2026-03-01").With([&](Event& event) {
        if (!of_one) event.supplier = absl::StrCat("supplier-", i);
      });
      EXPECT_TRUE(engine.Submit(Running::Of(order), [&](const Receipt& receipt) {
        EXPECT_TRUE(receipt.status.ok());
        ++entries[receipt.log_sequence];
      }));
    }
    engine.CommitWaiting();
    std::vector<int> events;
    for (const auto& [sequence, count] : entries) events.push_back(count);
    return events;
  };
  const std::vector<int> of_one = events_of_entries(true), of_each = events_of_entries(false);
  EXPECT_EQ(of_one.front(), 40);
  EXPECT_EQ(of_each.front(), 40) << "nothing is known yet";
  EXPECT_GT(of_one[1], 2 * of_each[1]);
  EXPECT_EQ(std::accumulate(of_each.begin(), of_each.end(), 0), 120);
}

TEST(Engine, AViewDoesNotChangeWhileEventsArrive) {
  MemoryStore store;
  Running engine(store);
  engine.Submit(SomeOrder("1"));
  const View before = engine->Look();
  engine.Submit(SomeOrder("2"));
  EXPECT_EQ(OrdersSettled(before), 1);
  EXPECT_EQ(OrdersSettled(engine->Look()), 2);
}

TEST(Engine, AFullQueueRefusesAndCallsBackWhenThereIsRoom) {
  MemoryStore store;
  EngineOptions options;
  options.queue_events = 3;
  Running engine(store, options);
  // The committer is held inside an answer, so that the queue fills behind it.
  std::promise<void> hold, held;
  engine->Submit(Running::Of(SomeOrder("0")), [&](Receipt) {
    held.set_value();
    hold.get_future().wait();
  });
  held.get_future().wait();
  EXPECT_TRUE(engine->Submit(Running::Of(SomeOrder("1")), [](Receipt) {}));
  EXPECT_FALSE(engine->Submit(Running::Of(SomeOrder("2")), [](Receipt) { FAIL(); }));
  std::promise<void> room;
  engine->WhenRoom([&] { room.set_value(); });
  EXPECT_EQ(engine->QueuedEvents(), 3u);
  hold.set_value();
  room.get_future().wait();
  EXPECT_TRUE(engine.Submit(SomeOrder("2")).status.ok());
}

TEST(Engine, StopTakesWhatIsWaitingAndRefusesTheRest) {
  MemoryStore store;
  Running engine(store);
  std::atomic<int> durable = 0;
  for (int i = 0; i < 100; ++i) {
    engine->Submit(Running::Of(SomeOrder(std::to_string(i))),
                   [&](Receipt receipt) { durable += receipt.status.ok(); });
  }
  engine->Stop();
  EXPECT_EQ(durable, 100);
  EXPECT_TRUE(absl::IsUnavailable(engine.Submit(SomeOrder("x")).status));
}

TEST(Engine, AnEmptySubmissionWaitsItsTurnAndLogsNothing) {
  MemoryStore store;
  Running engine(store);
  engine.Submit(SomeOrder());
  EXPECT_EQ(engine.Submit(Submission{}).log_sequence, 1u);
  EXPECT_EQ(engine->Look().catalog().log_sequence, 1u);
}

TEST(Engine, TheEventClockIsTheLatestEventAndTheWallClockTheWall) {
  MemoryStore wall_store, event_store;
  Running wall(wall_store);
  EngineOptions options;
  options.clock_mode = ClockMode::kEvents;
  Running events(event_store, options);
  wall.Submit(SomeOrder());
  events.Submit(SomeOrder());
  EXPECT_EQ(wall->Look().now(), At("2026-06-01T12:00"));
  EXPECT_EQ(events->Look().now(), At("2026-03-08"));
  wall.clock().Set(At("2025-01-01"));  // a clock that jumps back
  EXPECT_EQ(wall->Look().now(), At("2025-01-01"));
  EXPECT_TRUE(wall->Look().Score({"S", std::nullopt}, {}).ok());
}

TEST(Engine, AStoreOfAnotherVersionIsRefusedUntouched) {
  MemoryStore store;
  Format format;
  format.version = kFormatVersion + 1;
  Batch batch;
  batch.Put(Space::kMeta, std::string(kFormatKey), EncodeFormat(format));
  ASSERT_TRUE(store.Write(batch, true).ok());
  Running engine(store);
  EXPECT_TRUE(absl::IsFailedPrecondition(engine.started()));
  EXPECT_THAT(std::string(engine.started().message()), HasSubstr("version 5"));
  EXPECT_EQ(DecodeFormat(**store.TakeSnapshot()->Get(Space::kMeta, kFormatKey))->version, 5);
}

TEST(Engine, ALogShorterThanTheStateIsRefused) {
  MemoryStore store;
  {
    Running engine(store);
    engine.Submit(SomeOrder());
  }
  Batch batch;
  batch.Delete(Space::kLog, LogKey(1));
  ASSERT_TRUE(store.Write(batch, true).ok());
  EXPECT_TRUE(absl::IsDataLoss(Running(store).started()));
}

TEST(Engine, ChangedFoldRulesCountEveryOrderAnewAtTheStart) {
  MemoryStore store;
  OrderBuilder late({"default", "1"});
  late.Paid("2026-03-01").Promised("2026-03-10").Delivered("2026-03-11T02:00");
  {
    Running engine(store);
    engine.Submit(late);
    EXPECT_EQ(engine->Look().Score({"S", std::nullopt}, {})->answer.score.on_time.hit_count, 1);
  }
  EngineOptions options;
  options.rules.fold.tolerance_millis = kMillisPerDay;
  options.refold_orders = 1;
  Running engine(store, options);
  ASSERT_TRUE(engine.started().ok());
  EXPECT_EQ(engine->Look().Score({"S", std::nullopt}, {})->answer.score.on_time.hit_count, 0);
  EXPECT_EQ(
      *FindDifference(engine->Look().snapshot(), engine->Look().catalog(), options.rules.fold), "");
}

TEST(Engine, TheLogIsTrimmedBehindWhatWasApplied) {
  MemoryStore store;
  Running engine(store);
  for (int i = 0; i < 60; ++i) engine.Submit(SomeOrder(std::to_string(i)));
  int entries = 0;
  ASSERT_TRUE(store.TakeSnapshot()
                  ->Scan(Space::kLog, "", "", [&](auto, auto) { return ++entries > 0; })
                  .ok());
  EXPECT_LT(entries, 20);
  EXPECT_GT(entries, 0);
}

TEST(View, AskedAboutThePastCountsOnlyWhatHadHappened) {
  MemoryStore store;
  Running engine(store);
  engine.Submit(SomeOrder());  // due on the 10th, delivered on the 8th
  const View view = engine->Look();
  const auto at = [&](const char* as_of) {
    return view.Score({"S", std::nullopt}, {At(as_of), {}})->answer.score;
  };
  // The 10th is over at the 11th; tracking news gets a day more.
  EXPECT_EQ(at("2026-03-11").on_time.order_count, 0);
  EXPECT_EQ(at("2026-03-12").on_time.order_count, 1);
  EXPECT_EQ(at("2026-03-08").underway_count, 1);
  EXPECT_EQ(at("2026-03-09").underway_count, 0);
}

TEST(View, NothingIsCalledLateBeyondTheNews) {
  MemoryStore store;
  Running engine(store);
  OrderBuilder feed({"default", "other"});
  engine.Submit(feed.From("mondays").Delivered("2026-03-01"));
  Submission news;
  news.news.push_back({"mondays", At("2026-03-09")});
  engine.Submit(news);
  engine.Submit(OrderBuilder().Paid("2026-03-01").Promised("2026-03-10"));
  const auto before = engine->Look().Score({"S", std::nullopt}, {});
  EXPECT_EQ(before->answer.score.on_time.order_count, 0);
  EXPECT_EQ(before->basis.news, At("2026-03-09"));
  news.news[0].news = At("2026-03-11");
  engine.Submit(news);
  const auto after = engine->Look().Score({"S", std::nullopt}, {});
  EXPECT_EQ(after->answer.score.on_time.order_count, 1);
  EXPECT_EQ(after->answer.score.on_time.hit_count, 1);
}

TEST(View, RefusesHalfLivesOutOfRangeAndUnknownNames) {
  MemoryStore store;
  Running engine(store);
  engine.Submit(SomeOrder());
  const View view = engine->Look();
  for (const double days : {0.0, -1.0, 1e9, std::numeric_limits<double>::quiet_NaN()}) {
    EXPECT_TRUE(absl::IsInvalidArgument(view.Score({"S", std::nullopt}, {{}, days}).status()))
        << days;
  }
  EXPECT_TRUE(absl::IsNotFound(view.Score({"nobody", std::nullopt}, {}).status()));
  EXPECT_TRUE(absl::IsNotFound(
      view.Score({std::nullopt, LaneQuery{"VN", "SE", std::nullopt}}, {}).status()));
}

TEST(View, ALaneIsTheSumOfItsServicesAndListsPage) {
  MemoryStore store;
  Running engine(store);
  engine.Submit(SomeOrder("1"));
  OrderBuilder express({"default", "2"});
  engine.Submit(express.Paid("2026-03-01")
                    .With([](Event& e) { e.service = "express"; })
                    .Promised("2026-03-10"));
  const View view = engine->Look();
  const auto settled = [&](const char* lane) {
    return view.Score({std::nullopt, *ParseLaneQuery(lane)}, {})->answer.score.on_time.order_count;
  };
  EXPECT_EQ(settled("VN-DE"), 2);
  EXPECT_EQ(settled("VN-DE/express"), 1);
  EXPECT_EQ(settled("VN-DE/-"), 1);
  EXPECT_EQ(view.ListLanes({}, "", 10)->answer.size(), 1u);
  EXPECT_EQ(view.ListLanes({}, "VN-DE", 10)->answer.size(), 0u);
  EXPECT_EQ(view.ListSuppliers({}, "", 10, {})->answer.size(), 1u);
  EXPECT_EQ(view.ListSuppliers({}, "S", 10, {})->answer.size(), 0u);
}

}  // namespace
}  // namespace plumblane
