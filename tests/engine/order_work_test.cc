// Orders of an entry in shares: the same whoever works on them when, and contradictions are laid to
// the events that brought them.
#include <gtest/gtest.h>

#include <thread>

#include "engine/fates.h"
#include "storage/keys.h"
#include "storage/order_codec.h"
#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::KeyedEvent;
using test::RandomOrders;

Submission ContentOf(const std::vector<KeyedEvent>& events, size_t from, size_t to) {
  Submission content;
  for (size_t i = from; i < std::min(to, events.size()); ++i) {
    content.events.push_back({events[i].order, events[i].event});
  }
  return content;
}

std::vector<std::string> FatesOf(const Applied& applied) {
  std::vector<std::string> fates;
  for (const EventFate& fate : applied.fates) {
    fates.push_back(absl::StrCat(static_cast<int>(fate.kind), " ", fate.message));
  }
  return fates;
}

void AtOnceLastFirst(const std::vector<std::function<void()>>& work) {
  std::vector<std::thread> threads;
  for (auto one = work.rbegin(); one != work.rend(); ++one) threads.emplace_back(*one);
  for (std::thread& thread : threads) thread.join();
}

TEST(Shares, AtOnceAndOneAfterTheOtherGiveTheSame) {
  for (uint64_t seed = 1; seed <= 5; ++seed) {
    RandomOrders random(seed);
    std::vector<KeyedEvent> events = random.Make(700);
    std::shuffle(events.begin(), events.end(), random.generator());
    AppliedState state;
    state.Apply(ContentOf(events, 0, events.size() / 2));
    const LogEntry entry{{}, ContentOf(events, events.size() / 2, events.size())};
    ASSERT_GE(entry.content.events.size(), 1000u) << "fewer are never worked on at once";
    std::vector<Applied> results;
    for (const DoAll& how : {DoAll(OneByOne), DoAll(AtOnceLastFirst)}) {
      WritersMemory memory(1 << 20);
      auto applied = Apply(*state.store().TakeSnapshot(), state.catalog(), state.rules(), 2, entry,
                           memory, how);
      ASSERT_TRUE(applied.ok()) << applied.status();
      results.push_back(*std::move(applied));
    }
    EXPECT_EQ(FatesOf(results[0]), FatesOf(results[1])) << "seed " << seed;
    EXPECT_EQ(results[0].standings, results[1].standings);
    EXPECT_EQ(results[0].cells, results[1].cells);
    ASSERT_EQ(results[0].batch.changes.size(), results[1].batch.changes.size());
    for (size_t i = 0; i < results[0].batch.changes.size(); ++i) {
      const Batch::Change &a = results[0].batch.changes[i], &b = results[1].batch.changes[i];
      ASSERT_TRUE(a.space == b.space && a.key == b.key && a.value == b.value) << "seed " << seed;
    }
  }
}

TEST(Shares, AContradictionIsLaidToTheEventsThatBringItToWhatIsStored) {
  int contradictions = 0;
  for (uint64_t seed = 1; seed <= 60; ++seed) {
    RandomOrders random(seed);
    std::vector<KeyedEvent> events = random.Make(20);
    std::shuffle(events.begin(), events.end(), random.generator());
    AppliedState state({}, 1 << 20);
    for (size_t at = 0; at < events.size();) {
      const size_t end = at + 1 + static_cast<size_t>(random.Below(25));
      const Submission content = ContentOf(events, at, end);
      at = end;
      std::vector<const OrderEvent*> incoming;
      std::map<OrderKey, std::vector<size_t>> by_order;
      for (const OrderEvent& event : content.events) {
        by_order[event.order].push_back(incoming.size());
        incoming.push_back(&event);
      }
      const auto before = state.store().TakeSnapshot();
      const Applied applied = state.Apply(content);
      std::vector<EventFate> expected = applied.fates;
      for (const auto& [order, indexes] : by_order) {
        const auto stored_of = [&](const Snapshot& snapshot) {
          const auto record = *snapshot.Get(Space::kOrders, OrderRecordKey(order));
          return record ? *DecodeOrder(*record) : std::vector<Event>();
        };
        const std::vector<Event> was = stored_of(*before);
        const auto fold = [&](const std::vector<Event>& of) {
          return Fold(order, of, state.rules(), *state.catalog().excuses);
        };
        for (const size_t i : indexes) {
          if (expected[i].kind != EventFate::Kind::kContradiction) continue;
          expected[i] = {EventFate::Kind::kAccepted, ""};
        }
        if (!HasNewFaults(fold(was), fold(stored_of(*state.store().TakeSnapshot())))) continue;
        BlameFaults({order, fold(was), was, indexes}, incoming, state.rules(),
                    *state.catalog().excuses, expected);
      }
      for (size_t i = 0; i < expected.size(); ++i) {
        contradictions += expected[i].kind == EventFate::Kind::kContradiction ? 1 : 0;
        ASSERT_EQ(applied.fates[i].kind, expected[i].kind) << "seed " << seed;
        ASSERT_EQ(applied.fates[i].message, expected[i].message) << "seed " << seed;
      }
    }
  }
  EXPECT_GT(contradictions, 100);
}

TEST(EventList, HasTheEventsOfAllPiecesInTurn) {
  RandomOrders random(1);
  std::vector<OrderEvent> events;
  for (const KeyedEvent& one : random.Make(20)) events.push_back({one.order, one.event});
  ASSERT_GT(events.size(), 20u);
  EventList all, none, rest;
  EXPECT_TRUE(all.empty() && all.begin() == all.end());
  all.push_back(events[0]);
  all.Append(std::move(none));
  for (size_t i = 1; i < 5; ++i) rest.push_back(events[i]);
  all.Append(std::move(rest));
  all.Append({});
  all.Append(std::vector<OrderEvent>(events.begin() + 5, events.end()));
  EXPECT_EQ(all.size(), events.size());
  EXPECT_EQ(std::vector<OrderEvent>(all.begin(), all.end()), events);
  EXPECT_EQ(all, EventList(events));
  events.pop_back();
  EXPECT_FALSE(all == EventList(events));
}

}  // namespace
}  // namespace plumblane
