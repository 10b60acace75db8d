// Sends: taking one back leaves the bytes of a state that never saw it, also in steps and when the
// daemon stops midway.
#include "engine/sends.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <future>

#include "engine/engine.h"
#include "engine/records.h"
#include "storage/keys.h"
#include "support/applied_state.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"
#include "support/random_orders.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::OrderBuilder;
using test::RandomOrders;

constexpr int kSends = 4;

Event By(Event event, int64_t send) {
  if (send != 0) event.tellings = {{event.revision.value_or(Instant{0}), send}};
  return event;
}

Submission Begin(int count) {
  Submission content;
  content.sends_begun.resize(static_cast<size_t>(count), {{"a.csv"}, "harbour", "a"});
  return content;
}

Submission BackTo(int64_t send) {
  Submission content;
  content.sends_taken_back = {send};
  return content;
}

// Every event by one to three sends, some besides or only outside any; those with a revision by
// sends only, so that none of them is told for good.
std::vector<KeyedEvent> Told(const std::vector<KeyedEvent>& events, RandomOrders& random) {
  std::vector<KeyedEvent> told;
  for (const auto& [order, event] : events) {
    for (int count = 1 + random.Below(3); count > 0; --count) {
      const int lowest = event.revision ? 1 : 0;
      told.push_back({order, By(event, lowest + random.Below(kSends + 1 - lowest))});
    }
  }
  std::shuffle(told.begin(), told.end(), random.generator());
  return told;
}

std::map<std::string, SourceWord> Words(const Catalog& catalog) {
  std::map<std::string, SourceWord> words;
  for (const auto& [name, source] : catalog.sources) words[name] = source;
  return words;
}

TEST(TakeBack, LeavesTheBytesOfAStateThatNeverSawTheSend) {
  for (uint64_t seed = 1; seed <= 150; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> told = Told(random.Make(30), random);
    const int64_t gone = 1 + random.Below(kSends);
    std::vector<KeyedEvent> rest;
    std::copy_if(told.begin(), told.end(), std::back_inserter(rest),
                 [&](const KeyedEvent& one) { return SendOf(one.event) != gone; });

    AppliedState state, never;
    for (AppliedState* one : {&state, &never}) one->Apply(Begin(kSends));
    ApplyInBatches(state, told, random);
    ApplyInBatches(never, rest, random);
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    const auto before = state.Bytes();
    const auto effect =
        EffectOfTakingBack(*state.store().TakeSnapshot(), state.catalog(), state.rules(), gone);
    ASSERT_TRUE(effect.ok()) << effect.status();

    state.Apply(BackTo(gone));
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    ASSERT_TRUE(state.Bytes() == never.Bytes()) << "seed " << seed;
    ASSERT_FALSE(before == state.Bytes());
    EXPECT_EQ(state.catalog().order_count, never.catalog().order_count);
    EXPECT_EQ(state.catalog().event_count, never.catalog().event_count);
    EXPECT_EQ(state.catalog().pairs->by_supplier, never.catalog().pairs->by_supplier);
    EXPECT_EQ(Words(state.catalog()), Words(never.catalog())) << "seed " << seed;

    const Send send = **ReadSend(*state.store().TakeSnapshot(), gone);
    EXPECT_EQ(send.state, SendState::kTakenBack);
    EXPECT_EQ(send.events_taken_back.gone, effect->events.gone);
    EXPECT_EQ(send.events_taken_back.staying, effect->events.staying);
  }
}

TEST(TakeBack, WhatWasTakenBackCountsAgainWhenSentAgain) {
  for (uint64_t seed = 1; seed <= 50; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> events = random.Make(20);
    AppliedState state, straight;
    for (AppliedState* one : {&state, &straight}) one->Apply(Begin(2));
    std::vector<KeyedEvent> first, second;
    for (const auto& [order, event] : events) {
      first.push_back({order, By(event, 1)});
      second.push_back({order, By(event, 2)});
    }
    ApplyInBatches(state, first, random);
    state.Apply(BackTo(1));
    EXPECT_TRUE(state.Bytes().empty());
    EXPECT_TRUE(state.catalog().sources.empty());
    ApplyInBatches(state, second, random);
    ApplyInBatches(straight, second, random);
    ASSERT_TRUE(state.Bytes() == straight.Bytes()) << "seed " << seed;
  }
}

TEST(TakeBack, ASendTakenBackOrUnknownTakesNoMoreEvents) {
  AppliedState state;
  EXPECT_EQ(state.Apply(Begin(2)).sends, (std::vector<int64_t>{1, 2}));
  EXPECT_EQ(state.Apply(Begin(1)).sends, std::vector<int64_t>{3});
  OrderBuilder order;
  order.Paid("2026-03-01");
  const auto by = [&](int64_t send) {
    Submission content;
    content.events.push_back({order.key(), By(order.events()[0], send)});
    return content;
  };
  using Kind = EventFate::Kind;
  EXPECT_EQ(state.Apply(by(1)).fates[0].kind, Kind::kAccepted);
  EXPECT_EQ(state.Apply(by(4)).fates[0].kind, Kind::kNoSend);
  // Also within the entry that takes it back, and in the last entry before a crash.
  Submission both = by(1);
  both.sends_taken_back = {1};
  EXPECT_EQ(state.Apply(both).fates[0].kind, Kind::kNoSend);
  EXPECT_EQ(state.Apply(by(1)).fates[0].kind, Kind::kNoSend);
  EXPECT_TRUE(state.Bytes().empty());
  EXPECT_EQ(state.Apply(by(2)).fates[0].kind, Kind::kAccepted);
  const auto bytes = state.Bytes();
  state.Apply(BackTo(1));  // twice is once
  state.Apply(BackTo(9));
  EXPECT_TRUE(state.Bytes() == bytes);
}

TEST(TakeBack, NewsOfASourceGoesWithTheSendThatGaveIt) {
  AppliedState state;
  state.Apply(Begin(2));
  const auto tell = [&](const std::string& through, int64_t send) {
    Submission content;
    content.news.push_back({"carrier", At(through), send});
    state.Apply(content);
  };
  const auto through = [&] { return state.catalog().sources.at("carrier").complete_through; };
  tell("2026-03-01", 1);
  tell("2026-03-20", 2);
  EXPECT_EQ(through(), At("2026-03-20"));
  state.Apply(BackTo(2));
  EXPECT_EQ(through(), At("2026-03-01"));
  tell("2026-03-25", 2);
  EXPECT_EQ(through(), At("2026-03-01"));
  tell("2026-03-05", 0);
  state.Apply(BackTo(1));
  EXPECT_EQ(through(), At("2026-03-05"));
  EXPECT_TRUE(state.catalog().sources.at("carrier").periodic);
  const auto loaded = LoadCatalog(*state.store().TakeSnapshot());
  EXPECT_EQ(loaded->sources.at("carrier"), state.catalog().sources.at("carrier"));
}

TEST(TakeBack, AnAssignmentIsOpenAgain) {
  AppliedState state;
  state.Apply(Begin(1));
  OrderBuilder order;
  order.Paid("2026-03-01");
  Submission content;
  Assignment assignment;
  assignment.order = order.key();
  assignment.part = 1;
  assignment.time = At("2026-02-28");
  assignment.pick = {"S", {"VN", "DE", ""}};
  content.assignments.push_back(assignment);
  content.events.push_back({order.key(), By(order.events()[0], 1)});
  state.Apply(content);
  EXPECT_TRUE(state.catalog().assignments->by_part.empty());
  state.Apply(BackTo(1));
  EXPECT_EQ(state.catalog().assignments->by_part.size(), 1);
  EXPECT_EQ(state.Difference(), "");
}

TEST(Send, SaysWhatWasSentWhen) {
  AppliedState state;
  state.Apply(Begin(1));
  OrderBuilder order;
  order.Paid("2026-03-01").Shipped("2026-03-04").Shipped("2026-03-03");
  std::vector<OrderEvent> events;
  for (const Event& event : order.events()) {
    events.push_back({order.key(), By(event, 1)});
    events.push_back({order.key(), By(event, 1)});
  }
  events[5].event.content_hash = 7;
  Submission content;
  content.events = events;
  state.Apply(content);
  Submission end;
  end.sends_finished.push_back({1, 4});
  state.Apply(end);
  const Send send = **ReadSend(*state.store().TakeSnapshot(), 1);
  EXPECT_EQ(send.from, (SendBegun{{"a.csv"}, "harbour", "a"}));
  EXPECT_EQ(send.state, SendState::kFinished);
  EXPECT_EQ(send.accepted, 3);
  EXPECT_EQ(send.repeated, 2);
  EXPECT_EQ(send.conflicts, 1);
  EXPECT_EQ(send.rejected, 4);
  EXPECT_EQ(send.first_event, At("2026-03-01"));
  EXPECT_EQ(send.last_event, At("2026-03-04"));
  EXPECT_EQ(send.first_sequence, 2);
  EXPECT_EQ(send.last_sequence, 2);
  const auto entry = DecodeLogEntry(EncodeLogEntry(At("2026-03-01"), end));
  EXPECT_EQ(entry->content.sends_finished, end.sends_finished);
  EXPECT_EQ(DecodeLogEntry(EncodeLogEntry({}, Begin(2)))->content.sends_begun,
            Begin(2).sends_begun);
  EXPECT_EQ(DecodeLogEntry(EncodeLogEntry({}, BackTo(7)))->content.sends_taken_back,
            BackTo(7).sends_taken_back);
}

TEST(TakeBack, ALargeSendGoesInStepsAndIsFinishedAtTheNextStart) {
  const test::FixedClock clock(At("2026-06-01"));
  MemoryStore store;
  StoreLog log(store);
  const auto submit = [](Engine& engine, Submission content) {
    std::promise<Receipt> receipt;
    EXPECT_TRUE(engine.Submit(std::move(content),
                              [&](const Receipt& answer) { receipt.set_value(answer); }));
    return receipt.get_future().get();
  };
  {
    Engine engine(store, log, clock, {});
    ASSERT_TRUE(engine.Start().ok());
    EXPECT_EQ(submit(engine, Begin(1)).sends, std::vector<int64_t>{1});
    Submission content;
    for (size_t i = 0; i < kOrdersAStep + 100; ++i) {
      OrderBuilder order({"default", std::to_string(i)});
      order.Paid("2026-03-01");
      content.events.push_back({order.key(), By(order.events()[0], 1)});
    }
    submit(engine, content);
    submit(engine, BackTo(1));
    const View view = engine.Look();
    EXPECT_EQ(view.catalog().order_count, 100);
    EXPECT_EQ((*ReadSend(view.snapshot(), 1))->state, SendState::kBeingTakenBack);
    Submission late;
    late.events.push_back(*content.events.begin());
    EXPECT_EQ(submit(engine, late).fates[0].kind, EventFate::Kind::kNoSend);
  }
  Engine engine(store, log, clock, {});
  ASSERT_TRUE(engine.Start().ok());
  const View view = engine.Look();
  EXPECT_EQ(view.catalog().order_count, 0);
  EXPECT_EQ((*ReadSend(view.snapshot(), 1))->state, SendState::kTakenBack);
  EXPECT_EQ((*ReadSend(view.snapshot(), 1))->events_taken_back.gone,
            static_cast<int64_t>(kOrdersAStep) + 100);
  EXPECT_EQ(*FindDifference(view.snapshot(), view.catalog(), {}), "");
}

TEST(EffectOfTakingBack, SaysWhatChangesForWhom) {
  AppliedState state;
  state.Apply(Begin(2));
  Submission content;
  const auto add = [&](const OrderBuilder& order, int64_t send) {
    for (const Event& event : order.events()) {
      content.events.push_back({order.key(), By(event, send)});
    }
  };
  OrderBuilder late({"default", "1"}), kept({"default", "2"});
  late.Paid("2026-03-01").Promised("2026-03-05").Delivered("2026-03-09");
  kept.Paid("2026-03-01").With([](Event& e) { e.supplier = "T"; });
  add(late, 1);
  add(kept, 1);
  add(kept, 2);
  state.Apply(content);
  const auto effect =
      EffectOfTakingBack(*state.store().TakeSnapshot(), state.catalog(), state.rules(), 1);
  ASSERT_TRUE(effect.ok());
  EXPECT_EQ(effect->orders, 2);
  EXPECT_EQ(effect->events.gone, 2);
  EXPECT_EQ(effect->events.staying, 1);
  EXPECT_EQ(effect->parts_gone, 1);
  EXPECT_EQ(effect->suppliers,
            (std::map<std::string, TakeBackEffect::OfSupplier>{{"S", {-1, -1, -1, 0}}}));
}

}  // namespace
}  // namespace plumblane
