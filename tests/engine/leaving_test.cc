// Orders that leave: a purge changes no cell, an erasure leaves a state that never knew the order,
// and neither counts again what is told once more.
#include "engine/leaving.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>

#include "engine/engine.h"
#include "engine/purger.h"
#include "storage/keys.h"
#include "support/applied_state.h"
#include "support/fixed_clock.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::On;
using test::OrderBuilder;
using test::RandomOrders;
using ::testing::HasSubstr;
using Bytes = std::map<std::string, std::string>;

Bytes Without(const Bytes& all, const std::string& kinds_of_index) {
  Bytes rest = all;
  std::erase_if(rest, [&](const auto& one) {
    return one.first[0] == '3' && kinds_of_index.find(one.first[1]) != std::string::npos;
  });
  return rest;
}

Bytes CellsAndPairs(const AppliedState& state) {
  Bytes some = state.Bytes();
  std::erase_if(some, [](const auto& one) {
    return one.first[0] != '2' && !(one.first[0] == '3' && one.first[1] == 'p');
  });
  return some;
}

std::vector<OrderKey> OrdersIn(const AppliedState& state) {
  std::vector<OrderKey> orders;
  EXPECT_TRUE(state.store()
                  .TakeSnapshot()
                  ->Scan(Space::kOrders, "", "",
                         [&](auto key, auto) {
                           orders.push_back(ParseOrderRecordKey(key));
                           return true;
                         })
                  .ok());
  return orders;
}

Submission Purging(const std::vector<OrderKey>& orders, Instant before) {
  Submission content;
  content.purges.push_back({before, 60, orders});
  return content;
}

TEST(Leaving, APurgeChangesNoCellNoPairAndNothingThatComesLaterCountsAgain) {
  const Instant far = StartOf(Day{20'000 + 400});
  int64_t purged = 0;
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> events = random.Make(40);
    AppliedState state;
    ApplyInBatches(state, events, random);
    const Bytes before = CellsAndPairs(state);
    const std::vector<OrderKey> all = OrdersIn(state);
    std::vector<OrderKey> half(all.begin(),
                               all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2));
    state.Apply(Purging(half, far));
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    state.Apply(Purging(all, far));
    ASSERT_TRUE(CellsAndPairs(state) == before) << "seed " << seed;
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    const std::vector<OrderKey> left = OrdersIn(state);
    EXPECT_EQ(state.catalog().purged_count, static_cast<int64_t>(all.size() - left.size()));
    purged += state.catalog().purged_count;

    Submission again;
    for (const KeyedEvent& one : events) again.events.push_back({one.order, one.event});
    const Applied applied = state.Apply(again);
    for (size_t i = 0; i < events.size(); ++i) {
      const bool is_left = std::find(left.begin(), left.end(), events[i].order) != left.end();
      ASSERT_EQ(applied.fates[i].kind == EventFate::Kind::kNotKept, !is_left) << "seed " << seed;
    }
    ASSERT_TRUE(CellsAndPairs(state) == before) << "seed " << seed;

    // What would change them passes them by.
    Submission excuse;
    excuse.excuses = {{"e", ExcusedDays{{"VN", "DE", std::nullopt}, Day{20'000}, Day{20'100}}, "x"},
                      {"f", ExcusedOrder{all[0], 1}, "y"}};
    state.Apply(excuse);
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    FoldRules rules;
    rules.tolerance_millis = kMillisPerDay;
    Format format{kFormatVersion, {}, rules, {}};
    const auto batch = RefoldSome(*state.store().TakeSnapshot(), state.catalog(), 1000, format);
    ASSERT_TRUE(batch.ok() && state.store().Write(*batch, true).ok());
    state.rules() = rules;
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
  }
  EXPECT_GT(purged, 300);
}

TEST(Leaving, AnUpgradeCountsWhatPurgedOrdersLeft) {
  for (uint64_t seed = 1; seed <= 10; ++seed) {
    RandomOrders random(seed);
    AppliedState state;
    ApplyInBatches(state, random.Make(40), random);
    std::vector<OrderKey> half = OrdersIn(state);
    half.resize(half.size() / 2);
    state.Apply(Purging(half, StartOf(Day{20'400})));
    ASSERT_GT(state.catalog().purged_count, 0);
    const Bytes before = state.Bytes();
    Format format;
    format.version = kFormatVersion - 1;
    const auto batch = UpgradeFormat(*state.store().TakeSnapshot(), state.catalog(), format);
    ASSERT_TRUE(batch.ok()) << batch.status();
    ASSERT_TRUE(state.store().Write(*batch, true).ok());
    ASSERT_TRUE(state.Bytes() == before) << "seed " << seed;
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
  }
}

// A page of one day, the first, with one order of which nothing is known, as data format 3 had it.
std::string AsBefore() { return std::string("\x01\x00\x02\x00\x00\x00", 6); }

TEST(Leaving, AnUpgradeWritesEachPageAnewHoweverManyAtATime) {
  RandomOrders random(3);
  AppliedState state;
  ApplyInBatches(state, random.Make(40), random);
  std::vector<OrderKey> half = OrdersIn(state);
  half.resize(half.size() / 2);
  state.Apply(Purging(half, StartOf(Day{20'400})));
  const auto write_anew = [&](Space space, size_t limit) {
    std::vector<std::string> written;
    for (std::string from;;) {
      const auto batch = WritePagesAnew(*state.store().TakeSnapshot(), space, limit, from);
      if (!batch.ok() || batch->changes.empty()) return written;
      EXPECT_LE(batch->changes.size(), limit);
      for (const Batch::Change& one : batch->changes) written.push_back(one.key);
      EXPECT_TRUE(state.store().Write(*batch, true).ok());
    }
  };
  for (const Space space : {Space::kCells, Space::kIndex}) {
    std::vector<std::string> pages;
    const std::string_view prefix = space == Space::kIndex ? kGonePagePrefix : std::string_view();
    ASSERT_TRUE(state.store()
                    .TakeSnapshot()
                    ->Scan(space, prefix, "",
                           [&](auto key, auto) {
                             pages.emplace_back(key);
                             return true;
                           })
                    .ok());
    ASSERT_GT(pages.size(), 7);
    const Bytes before = state.Bytes();
    for (const size_t limit : {1, 3, 10'000}) {
      Batch old;
      old.Put(space, pages[5], AsBefore());
      ASSERT_TRUE(state.store().Write(old, true).ok());
      EXPECT_EQ(write_anew(space, limit), pages) << limit;
      const auto anew = state.store().TakeSnapshot()->Get(space, pages[5]);
      ASSERT_TRUE(anew.ok() && *anew);
      EXPECT_EQ(**anew, "\xa0");
    }
    Batch again;
    for (const auto& [key, value] : before) {
      if (key.substr(1) == pages[5]) again.Put(space, pages[5], value);
    }
    ASSERT_EQ(again.changes.size(), 1);
    ASSERT_TRUE(state.store().Write(again, true).ok());
    EXPECT_TRUE(state.Bytes() == before);
  }
}

// What the records of a space take.
size_t BytesIn(const Store& store, Space space) {
  size_t bytes = 0;
  EXPECT_TRUE(store.TakeSnapshot()
                  ->Scan(space, "", "",
                         [&](auto key, auto value) {
                           bytes += key.size() + value.size();
                           return true;
                         })
                  .ok());
  return bytes;
}

TEST(Leaving, AnErasedOrderLeavesAStateThatNeverKnewIt) {
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> events = random.Make(40);
    const std::set<OrderKey> gone = {events[0].order, events[events.size() / 2].order};
    AppliedState state, never;
    ApplyInBatches(state, events, random);
    std::vector<KeyedEvent> others;
    std::copy_if(events.begin(), events.end(), std::back_inserter(others),
                 [&](const KeyedEvent& one) { return !gone.contains(one.order); });
    ApplyInBatches(never, others, random);
    Submission setup;
    for (const OrderKey& order : gone) {
      Assignment given;
      given.order = order;
      given.time = At("2026-01-01");
      given.pick = {"lotus", {"VN", "DE", ""}};
      setup.assignments.push_back(given);
      setup.excuses.push_back({order.order_id + order.shop, ExcusedOrder{order, 1}, "lost by us"});
    }
    state.Apply(setup);
    Submission erase;
    erase.erased.assign(gone.begin(), gone.end());
    state.Apply(erase);
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    ASSERT_TRUE(Without(state.Bytes(), "x") == never.Bytes()) << "seed " << seed;
    EXPECT_TRUE(state.catalog().excuses->all().empty());
    EXPECT_TRUE(state.catalog().assignments->by_part.empty());
    EXPECT_EQ(state.catalog().erased_count, 2);
    EXPECT_EQ(state.catalog().event_count, never.catalog().event_count);
    Submission again = setup;
    again.excuses.clear();
    again.events.push_back({events[0].order, events[0].event});
    EXPECT_EQ(state.Apply(again).fates[0].kind, EventFate::Kind::kNotKept);
    ASSERT_TRUE(Without(state.Bytes(), "x") == never.Bytes()) << "seed " << seed;
  }
}

TEST(Leaving, AnOrderIsOverWhenNothingIsExpectedOfItAnyMore) {
  const auto over = [](const OrderBuilder& order, std::optional<int> claim_days = {}) {
    TermsBook terms;
    Terms one;
    one.supplier = "S";
    one.claim_days = claim_days;
    terms.Load({one}, At("2026-01-01"));
    const auto since = OverSince(order.Fold(), order.Sorted(), {}, 60, terms);
    return since ? FormatDay(DayOf(*since)) : "not";
  };
  const auto order = [] { return OrderBuilder().Paid("2026-03-01").Promised("2026-03-10"); };
  EXPECT_EQ(over(OrderBuilder().Paid("2026-03-01")), "2026-03-01");
  EXPECT_EQ(over(order()), "2026-05-09");
  EXPECT_EQ(over(order(), 90), "2026-06-08");
  EXPECT_EQ(over(order().Delivered("2026-08-01")), "2026-10-01");  // late: claims for 60 days
  EXPECT_EQ(over(order().Delivered("2026-03-09").Disputed("2026-03-12", Reason::kDamaged)), "not");
  EXPECT_EQ(over(order()
                     .Delivered("2026-03-09")
                     .Disputed("2026-03-12", Reason::kDamaged)
                     .Answered("2026-07-01")),
            "2026-07-01");
}

TEST(Leaving, AnOrderToldOfInTheSameEntryStays) {
  AppliedState state;
  OrderBuilder order;
  state.Apply(order.Paid("2026-03-01"));
  Submission content = Purging({order.key()}, At("2027-01-01"));
  content.events.push_back({order.key(), order.Delivered("2026-03-09").events().back()});
  EXPECT_EQ(state.Apply(content).fates[0].kind, EventFate::Kind::kAccepted);
  EXPECT_EQ(state.catalog().purged_count, 0);
  EXPECT_EQ(state.Difference(), "");
}

// An engine with some orders of 2024 and one of 2026.
class Keeping : public ::testing::Test {
 protected:
  Keeping() : log_(store_), clock_(At("2026-06-01")), engine_(store_, log_, clock_, {}) {
    EXPECT_TRUE(engine_.Start().ok());
    Submission content;
    for (int i = 0; i < 5; ++i)
      Add(OrderBuilder({"default", absl::StrCat("old", i)}), "2024-03-0", content);
    Add(OrderBuilder({"default", "new"}), "2026-05-0", content);
    Submit(std::move(content));
  }
  static void Add(OrderBuilder order, const std::string& day, Submission& content) {
    order.Paid(day + "1").Promised(day + "9").Delivered(day + "8");
    for (const Event& event : order.events()) content.events.push_back({order.key(), event});
  }
  Receipt Submit(Submission content) {
    std::promise<Receipt> receipt;
    EXPECT_TRUE(engine_.Submit(std::move(content),
                               [&](const Receipt& answer) { receipt.set_value(answer); }));
    return receipt.get_future().get();
  }
  int64_t Orders() const { return engine_.Look().catalog().order_count; }

  MemoryStore store_;
  StoreLog log_;
  test::FixedClock clock_;
  Engine engine_;
};

TEST_F(Keeping, OldOrdersGoAndAClockThatJumpsAheadTakesNothingMore) {
  clock_.Set(At("2046-06-01"));
  Purger purger(engine_, 365);
  ASSERT_TRUE(purger.Pass().ok());
  EXPECT_EQ(Orders(), 1);
  ASSERT_TRUE(purger.Pass().ok());
  EXPECT_EQ(Orders(), 1);
  const View view = engine_.Look();
  EXPECT_EQ(view.Score({"S", std::nullopt}, {})->answer.score.on_time.order_count, 6);
  EXPECT_EQ(*FindDifference(view.snapshot(), view.catalog(), {}), "");
}

TEST_F(Keeping, AfterAPurgeTheLogAndTheOrdersTakeLess) {
  const size_t log = BytesIn(store_, Space::kLog), orders = BytesIn(store_, Space::kOrders);
  const size_t index = BytesIn(store_, Space::kIndex), cells = BytesIn(store_, Space::kCells);
  ASSERT_TRUE(Purger(engine_, 365).Pass().ok());
  EXPECT_LT(BytesIn(store_, Space::kLog), log / 2);
  EXPECT_LT(BytesIn(store_, Space::kOrders), orders / 4);  // one of six is kept
  EXPECT_EQ(BytesIn(store_, Space::kCells), cells);
  // Which has a mark of each order, and the counts that they leave.
  EXPECT_LT(BytesIn(store_, Space::kLog) + BytesIn(store_, Space::kOrders) +
                BytesIn(store_, Space::kIndex),
            log + orders + index);
}

TEST_F(Keeping, ASettingOfNoDaysKeepsAll) {
  ASSERT_TRUE(Purger(engine_, 0).Pass().ok());
  EXPECT_EQ(Orders(), 6);
}

TEST_F(Keeping, WhoAsksForAnOrderThatLeftIsToldSo) {
  ASSERT_TRUE(Purger(engine_, 365).Pass().ok());
  const View view = engine_.Look();
  EXPECT_THAT(std::string(view.Order({"default", "old1"}).status().message()),
              HasSubstr("no longer kept"));
  EXPECT_THAT(std::string(view.Order({"default", "never"}).status().message()),
              HasSubstr("no event names"));
  ReviewAsked march, may;
  march.period = {On("2024-03-01"), On("2024-03-31")};
  may.period = {On("2026-05-01"), On("2026-05-31")};
  const auto review = view.Review(march);
  ASSERT_TRUE(review.ok()) << review.status();
  EXPECT_EQ(review->kept_from, On("2025-05-08"));
  EXPECT_EQ(review->accounts[0].period.late.orders, 5);  // from cells
  EXPECT_TRUE(review->accounts[0].period.orders_gone);
  EXPECT_FALSE(view.Review(may)->accounts[0].period.orders_gone);
  EXPECT_TRUE(
      absl::IsFailedPrecondition(view.Evidence(march, [](const EvidenceOrder&) { return true; })));
  ReviewAsked of_shop = march;
  of_shop.shop = "default";
  EXPECT_TRUE(absl::IsFailedPrecondition(view.Review(of_shop).status()));
  EXPECT_EQ(view.Review(may)->kept_from, On("2025-05-08"));
}

TEST_F(Keeping, AfterAnErasureTheStoreHoldsTheOrderNowhere) {
  Submission erase;
  erase.erased = {{"default", "old1"}};
  const Receipt receipt = Submit(std::move(erase));
  ASSERT_TRUE(receipt.status.ok());
  for (int space = 0; space < kSpaceCount; ++space) {
    const absl::Status scanned =
        store_.TakeSnapshot()->Scan(static_cast<Space>(space), "", "", [&](auto key, auto value) {
          EXPECT_EQ(key.find("old1"), std::string_view::npos) << kSpaceNames[space];
          EXPECT_EQ(value.find("old1"), std::string_view::npos) << kSpaceNames[space];
          return true;
        });
    ASSERT_TRUE(scanned.ok());
  }
  EXPECT_EQ(Orders(), 5);
  Submission again;
  Add(OrderBuilder({"default", "old1"}), "2024-03-0", again);
  EXPECT_EQ(Submit(std::move(again)).fates[0].kind, EventFate::Kind::kNotKept);
}

}  // namespace
}  // namespace plumblane
