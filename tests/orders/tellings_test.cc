// What is kept of an order's events, against a naive model that forgets nothing.
#include "orders/tellings.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>
#include <tuple>

#include "orders/fold.h"
#include "support/order_builder.h"

namespace plumblane {
namespace {

using test::At;
using test::OrderBuilder;

const OrderKey kOrder{"default", "1"};
constexpr Instant kFirst{20'000 * kMillisPerDay};

// Everything that was ever told, one event for each telling.
struct Model {
  std::vector<Event> told;

  // What counts: all that is told still, each event once under each revision.
  OrderState State(const std::set<int64_t>& taken_back = {}) const {
    std::map<std::tuple<int, std::string, std::string, uint64_t, Instant>, Event> events;
    for (const Event& event : told) {
      if (!event.tellings.empty() && taken_back.contains(event.tellings[0].send)) continue;
      events.try_emplace({event.part, event.source, event.event_id, event.content_hash,
                          event.revision.value_or(Instant{0})},
                         event);
    }
    std::vector<Event> sorted;
    for (const auto& [key, event] : events) sorted.push_back(event);
    std::sort(sorted.begin(), sorted.end(), Earlier);
    return Fold(kOrder, sorted, {}, {});
  }
};

// Exports of one order, each sent by a send of its own (or none, `with_sends` false): ids come back
// under each revision, some with what they said before, some changed, some left out; id 0 carries
// no revision. One content under each id and revision: conflicts are left to a test of their own.
class Exports {
 public:
  explicit Exports(uint64_t seed) : random_(seed) {}

  std::vector<Event> Make(int revisions, bool with_sends) {
    std::vector<Event> told;
    for (int revision = 0; revision < revisions; ++revision) {
      for (int id = 0; id < 9; ++id) {
        if (Below(4) == 0) continue;
        Event event = One(id, id == 0 || Below(2) ? 0 : Below(3));
        if (id != 0) event.revision = kFirst + 40 * kMillisPerDay + revision;
        if (with_sends) event.tellings = {{event.revision.value_or(Instant{0}), 1 + revision}};
        for (int copies = 1 + Below(2); copies > 0; --copies) told.push_back(event);
      }
    }
    return told;
  }
  int Below(int n) { return static_cast<int>(random_() % static_cast<uint64_t>(n)); }
  std::mt19937_64& generator() { return random_; }

 private:
  static Event One(int id, int variant) {
    Event event;
    event.source = id % 2 == 0 ? "a" : "b";
    event.event_id = std::to_string(id);
    event.type = static_cast<EventType>(1 + id % 8);
    event.part = id == 5 ? 2 : 1;
    event.time = kFirst + (id * 31 + variant * 7) * (kMillisPerDay / 10);
    event.supplier = variant == 2 ? "T" : "S";
    event.origin = "VN";
    event.destination = "DE";
    event.promise = event.time + (5 + variant) * kMillisPerDay;
    if (event.type == EventType::kRetracted) event.retracts = variant == 0 ? "1" : "3";
    event.content_hash = ContentHash(kOrder, event);
    return event;
  }

  std::mt19937_64 random_;
};

std::vector<Event> Kept(const std::vector<Event>& told) {
  std::vector<Event> events;
  for (const Event& event : told) {
    EXPECT_NE(Tell(events, event), Told::kConflict);
    EXPECT_TRUE(std::is_sorted(events.begin(), events.end(), Earlier));
  }
  return events;
}

OrderState StateOf(const std::vector<Event>& events) { return Fold(kOrder, events, {}, {}); }

TEST(Tell, AnyOrderOfArrivalKeepsTheSameAndCountsAsIfNothingWereForgotten) {
  for (uint64_t seed = 1; seed <= 1000; ++seed) {
    Exports exports(seed);
    const Model model{exports.Make(1 + exports.Below(9), seed % 2 == 0)};
    const std::vector<Event> kept = Kept(model.told);
    ASSERT_EQ(StateOf(kept), model.State()) << "seed " << seed;
    for (int round = 0; round < 3; ++round) {
      std::vector<Event> shuffled = model.told;
      std::shuffle(shuffled.begin(), shuffled.end(), exports.generator());
      ASSERT_EQ(Kept(shuffled), kept) << "seed " << seed;
    }
  }
}

TEST(TakeBack, LeavesWhatCountsWithoutTheSendsTakenBack) {
  int changed = 0;
  for (uint64_t seed = 1; seed <= 1000; ++seed) {
    Exports exports(seed);
    const int revisions = 1 + exports.Below(9);
    Model model{exports.Make(revisions, true)};
    std::shuffle(model.told.begin(), model.told.end(), exports.generator());
    std::vector<Event> events = Kept(model.told);
    std::set<int64_t> taken_back;
    for (int count = 0; count < 3; ++count) {
      const int64_t send = 1 + exports.Below(revisions);
      taken_back.insert(send);
      TakeBack(events, send);
      ASSERT_EQ(StateOf(events), model.State(taken_back)) << "seed " << seed;
    }
    if (model.State() != model.State(taken_back)) ++changed;
    const std::vector<int64_t> left = SendsOf(events);
    for (const int64_t send : taken_back) {
      EXPECT_FALSE(std::binary_search(left.begin(), left.end(), send));
    }
    // Sent again, it counts again.
    for (const Event& event : model.told) Tell(events, event);
    ASSERT_EQ(StateOf(events), model.State()) << "seed " << seed;
  }
  EXPECT_GT(changed, 300);
}

TEST(Tell, AYearOfDailyExportsKeepsTheLatestFewOnly) {
  std::vector<Event> same, changing;
  for (int day = 0; day < 365; ++day) {
    for (int id = 0; id < 6; ++id) {
      OrderBuilder order;
      order.Shipped("2026-03-02").With([&](Event& e) {
        e.event_id = std::to_string(id);
        e.revision = At("2026-04-01") + day * kMillisPerDay;
      });
      Event event = order.events()[0];
      event.tellings = {{*event.revision, day + 1}};
      Tell(same, event);
      order.With([&](Event& e) { e.time = At("2026-03-03") + day; });
      event.content_hash = order.events()[0].content_hash;
      EXPECT_EQ(Tell(changing, event), Told::kNew);
    }
  }
  EXPECT_EQ(same.size(), 6);
  EXPECT_EQ(same[0].tellings.size(), kMaxRevisions);
  EXPECT_EQ(changing.size(), 6 * kMaxRevisions);
}

TEST(Tell, SaysWhatBecameOfAnEvent) {
  const auto event = [](const std::string& id, const std::string& time, const std::string& revision,
                        int64_t send) {
    OrderBuilder order;
    order.Delivered(time).With([&](Event& e) { e.event_id = id; });
    Event made = order.events()[0];
    if (!revision.empty()) made.revision = At(revision);
    if (send != 0) made.tellings = {{made.revision.value_or(Instant{0}), send}};
    return made;
  };
  const std::string r1 = "2026-04-01", r2 = "2026-04-02";
  struct Step {
    Event event;
    Told told;
    size_t kept;
  };
  const Step steps[] = {
      {event("plain", "2026-03-05", "", 1), Told::kNew, 1},
      {event("plain", "2026-03-05", "", 1), Told::kKnown, 1},
      {event("plain", "2026-03-05", "", 2), Told::kAgain, 1},
      {event("plain", "2026-03-06", "", 2), Told::kConflict, 1},
      {event("plain", "2026-03-05", r1, 2), Told::kConflict, 1},
      {event("row", "2026-03-05", r1, 3), Told::kNew, 2},
      {event("row", "2026-03-05", r1, 3), Told::kKnown, 2},
      {event("row", "2026-03-06", r1, 3), Told::kConflict, 2},
      {event("row", "2026-03-05", "", 3), Told::kConflict, 2},
      {event("row", "2026-03-06", r2, 4), Told::kNew, 3},
      {event("row", "2026-03-05", r2, 4), Told::kConflict, 3},
      // Outside any send: nothing before it can come back.
      {event("row", "2026-03-06", r2, 0), Told::kAgain, 2},
      {event("row", "2026-03-05", r1, 9), Told::kKnown, 2},
      {event("row", "2026-03-06", r2, 9), Told::kKnown, 2},
  };
  std::vector<Event> events;
  int number = 0;
  for (const Step& step : steps) {
    EXPECT_EQ(Tell(events, step.event), step.told) << "step " << number;
    EXPECT_EQ(events.size(), step.kept) << "step " << number++;
  }
  EXPECT_EQ(SendsOf(events), (std::vector<int64_t>{1, 2}));
}

TEST(TakeBack, CountsWhatGoesAndWhatOthersToldToo) {
  const auto by = [](const OrderBuilder& order, int64_t send) {
    Event event = order.events()[0];
    event.tellings = {{Instant{0}, send}};
    return event;
  };
  OrderBuilder paid, shipped;
  paid.Paid("2026-03-01");
  shipped.Shipped("2026-03-02").With([](Event& e) { e.event_id = "other"; });
  std::vector<Event> events;
  for (int64_t send = 1; send <= 2; ++send) Tell(events, by(paid, send));
  Tell(events, by(shipped, 1));
  const TakenBack taken = TakeBack(events, 1);
  EXPECT_EQ(taken.gone, 1);
  EXPECT_EQ(taken.staying, 1);
  EXPECT_EQ(TakeBack(events, 1).staying, 0);
  EXPECT_EQ(TakeBack(events, 2).gone, 1);
  EXPECT_TRUE(events.empty());
  // What more than kMaxSends sends have told stays.
  for (int64_t send = 1; send <= 9; ++send) Tell(events, by(paid, send));
  for (int64_t send = 1; send <= 9; ++send) EXPECT_EQ(TakeBack(events, send).gone, 0);
  EXPECT_EQ(events.size(), 1);
}

}  // namespace
}  // namespace plumblane
