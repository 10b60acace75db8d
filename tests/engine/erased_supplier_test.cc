// A supplier that is erased leaves a state that never knew it, and its name nowhere.
#include "engine/erased_supplier.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "storage/keys.h"
#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::On;
using test::OrderBuilder;
using test::RandomOrders;

constexpr char kGone[] = "lotus";

bool GoOn() { return false; }

// All steps, each of so many orders.
void Erase(AppliedState& state, const std::string& supplier, size_t limit) {
  std::string place;
  do {
    auto orders =
        SomeOrdersNaming(*state.store().TakeSnapshot(), supplier, limit, GoOn, place).value();
    EXPECT_LE(orders.size(), limit);
    Submission step;
    step.erased = std::move(orders);
    state.Apply(step);
  } while (!place.empty());
  do {
    auto orders = SomeAssignedNaming(*state.store().TakeSnapshot(), supplier, limit, place).value();
    Submission step;
    step.erased_suppliers.push_back({supplier, std::move(orders), false});
    state.Apply(step);
  } while (!place.empty());
  Submission last;
  last.erased_suppliers.push_back({supplier, {}, true});
  state.Apply(last);
}

// Without the marks of orders that left.
std::map<std::string, std::string> BytesOf(const AppliedState& state) {
  auto bytes = state.Bytes();
  std::erase_if(bytes, [](const auto& one) { return one.first.starts_with("3x"); });
  return bytes;
}

// Those of which all events that name a supplier name the same one.
std::set<OrderKey> OrdersOfOne(const std::vector<KeyedEvent>& events) {
  std::map<OrderKey, std::set<std::string>> named;
  for (const KeyedEvent& one : events) {
    auto& suppliers = named[one.order];
    if (!one.event.supplier.empty()) suppliers.insert(one.event.supplier);
  }
  std::set<OrderKey> orders;
  for (const auto& [order, suppliers] : named) {
    if (suppliers.size() == 1) orders.insert(order);
  }
  return orders;
}

TEST(ErasedSupplier, LeavesAStateThatNeverKnewIt) {
  int purged = 0;
  for (uint64_t seed = 1; seed <= 40; ++seed) {
    RandomOrders random(seed);
    const std::vector<KeyedEvent> events = random.Make(40);
    AppliedState state, never;
    ApplyInBatches(state, events, random);
    // By what is kept of them: of several revisions the oldest go.
    std::string place;
    const auto found =
        SomeOrdersNaming(*state.store().TakeSnapshot(), kGone, 1000, GoOn, place).value();
    const std::set<OrderKey> naming(found.begin(), found.end());
    std::vector<KeyedEvent> others;
    std::copy_if(events.begin(), events.end(), std::back_inserter(others),
                 [&](const KeyedEvent& one) { return !naming.contains(one.order); });
    ApplyInBatches(never, others, random);
    Submission purge;
    Purge& old = purge.purges.emplace_back();
    old.before = StartOf(Day{20'400});
    for (const OrderKey& order : OrdersOfOne(events)) {
      if (random.Below(2) == 0) old.orders.push_back(order);
    }
    state.Apply(purge);
    never.Apply(purge);
    purged += static_cast<int>(state.catalog().purged_count - never.catalog().purged_count);
    Erase(state, kGone, 3);
    ASSERT_EQ(state.Difference(), "") << "seed " << seed;
    ASSERT_TRUE(BytesOf(state) == BytesOf(never)) << "seed " << seed;
    EXPECT_EQ(state.catalog().order_count, never.catalog().order_count);
    EXPECT_EQ(state.catalog().pairs->by_supplier, never.catalog().pairs->by_supplier);
    EXPECT_TRUE(TracesOf(*state.store().TakeSnapshot(), state.catalog(), {}, kGone, GoOn)->empty());
  }
  EXPECT_GT(purged, 20) << "of the supplier";
}

// All that can name a supplier.
class Agreed : public ::testing::Test {
 protected:
  Agreed() {
    for (const std::string supplier : {kGone, "copper"}) {
      Submission content;
      for (int i = 0; i < 3; ++i) {
        OrderBuilder order({"default", absl::StrCat(supplier.substr(0, 1), i)});
        order.Paid("2026-03-01").With([&](Event& event) { event.supplier = supplier; });
        order.Promised("2026-03-10").Delivered("2026-03-12");
        for (const Event& event : order.events()) content.events.push_back({order.key(), event});
      }
      Quote quote;
      quote.key = {supplier, "", {"VN", "DE", ""}, 1};
      quote.price = {500, "EUR"};
      quote.valid_from = On("2026-01-01");
      Terms terms;
      terms.supplier = supplier;
      terms.claim_days = 20;
      content.agreements = {std::vector<Quote>{quote}, std::vector<Terms>{terms},
                            Pause{supplier, true, {}, "holiday"},
                            std::vector<Item>{{"mug", "glass", supplier, supplier + "-mug"}}};
      state_.Apply(content);
    }
    Submission content;
    content.agreements = {std::vector<Terms>{TermsOf(kGone), TermsOf("copper")}};
    content.assignments = {Given("a1", kGone, "copper"), Given("a2", "copper", kGone)};
    content.alert_notices = {Raised("copper", "id1"), Raised(kGone, "id2"), Raised("copper", "id3"),
                             Raised(kGone, "id4")};
    state_.Apply(content);
  }

  static Terms TermsOf(const std::string& supplier) {
    Terms terms;
    terms.supplier = supplier;
    terms.claim_days = 30;
    return terms;
  }
  static Assignment Given(const std::string& order, const std::string& to,
                          const std::string& other) {
    Assignment given;
    given.order = {"default", order};
    given.time = At("2026-03-01");
    given.pick = {to, {"VN", "DE", ""}};
    given.destination = "DE";
    given.instead_of = other;
    given.reason = absl::StrCat(to, " costs less than ", other);
    given.candidates = {{given.pick, 500, {}, {}, 1, ""},
                        {{other, given.pick.lane}, 600, {}, {}, 0, "dearer than " + to}};
    return given;
  }
  static AlertNotice Raised(const std::string& supplier, const std::string& id) {
    AlertNotice notice;
    notice.alert_id = id;
    notice.key.supplier = supplier;
    notice.time = At("2026-03-20");
    notice.facts.opened = notice.facts.changed = On("2026-03-15");
    return notice;
  }

  AppliedState state_;
};

TEST_F(Agreed, ItsNameIsNowhereAndTheOtherSupplierKeepsAll) {
  const auto traces =
      TracesOf(*state_.store().TakeSnapshot(), state_.catalog(), {}, kGone, GoOn).value();
  EXPECT_EQ(traces.orders, 3);
  EXPECT_EQ(traces.shared_orders, 0);
  EXPECT_EQ(traces.assignments, 2);
  EXPECT_EQ(traces.agreed_rows, 5);
  EXPECT_EQ(traces.alerts, 2);
  Erase(state_, kGone, 1);
  EXPECT_EQ(state_.Difference(), "");
  int records = 0;
  for (int space = 0; space < kSpaceCount; ++space) {
    ASSERT_TRUE(state_.store()
                    .TakeSnapshot()
                    ->Scan(static_cast<Space>(space), "", "",
                           [&](auto key, auto value) {
                             ++records;
                             EXPECT_EQ(key.find(kGone), key.npos) << kSpaceNames[space];
                             EXPECT_EQ(value.find(kGone), value.npos) << kSpaceNames[space];
                             return true;
                           })
                    .ok());
  }
  EXPECT_GT(records, 10);
  const Agreements& agreed = *state_.catalog().agreements;
  EXPECT_EQ(agreed.quotes.all().size(), 1u);
  EXPECT_EQ(agreed.terms.Find("copper")->terms.claim_days, 30);
  EXPECT_EQ(agreed.terms.pauses().size(), 1u);
  EXPECT_EQ(agreed.items.CodeAt("copper", "mug"), "copper-mug");
  EXPECT_EQ(agreed.items.ClassOf("mug"), "glass");
  const auto& open = state_.catalog().assignments->by_part;
  ASSERT_EQ(open.size(), 1u);
  EXPECT_EQ(open.begin()->second.supplier, "copper");
  EXPECT_TRUE(TracesOf(*state_.store().TakeSnapshot(), state_.catalog(), {}, kGone, GoOn)->empty());
}

TEST_F(Agreed, WhatIsReadAtTheNextStartIsTheSame) {
  Erase(state_, kGone, 1);
  const Catalog read = LoadCatalog(*state_.store().TakeSnapshot()).value();
  const Catalog& kept = state_.catalog();
  EXPECT_EQ(read.agreements->quotes.all(), kept.agreements->quotes.all());
  EXPECT_EQ(read.agreements->terms.all(), kept.agreements->terms.all());
  EXPECT_EQ(read.agreements->terms.pauses(), kept.agreements->terms.pauses());
  EXPECT_EQ(read.agreements->items.all(), kept.agreements->items.all());
  EXPECT_EQ(*read.assignments, *kept.assignments);
  EXPECT_EQ(*read.alerts, *kept.alerts);
  EXPECT_EQ(read.alerts->last_cursor, 4);
}

TEST_F(Agreed, NoticesKeepTheirNumbersAndReadersPassTheErasedOnes) {
  Erase(state_, kGone, 1);
  Submission later;
  later.alert_notices = {Raised("copper", "id5")};
  state_.Apply(later);
  std::vector<std::pair<int64_t, std::string>> seen;
  const auto last = EachAlertNotice(*state_.store().TakeSnapshot(), 0,
                                    [&](int64_t cursor, const AlertNotice& notice) {
                                      seen.emplace_back(cursor, notice.alert_id);
                                      return true;
                                    });
  EXPECT_EQ(last.value(), 5);
  using Seen = std::vector<std::pair<int64_t, std::string>>;
  EXPECT_EQ(seen, (Seen{{1, "id1"}, {3, "id3"}, {5, "id5"}}));
}

TEST_F(Agreed, WhatTheSameEntrySaysOfOthersHolds) {
  Submission last;
  last.erased_suppliers.push_back({kGone, {{"default", "a1"}, {"default", "a2"}}, true});
  OrderBuilder order({"default", "a2"});
  order.Paid("2026-04-01").With([](Event& event) { event.supplier = "copper"; });
  last.events.push_back({order.key(), order.events().front()});
  last.agreements = {std::vector<Terms>{TermsOf("amber")}};
  last.alert_notices = {Raised("amber", "id5"), Raised(kGone, "id6")};
  state_.Apply(last);
  EXPECT_EQ(state_.Difference(), "");  // a2 was paid as assigned
  EXPECT_TRUE(state_.catalog().assignments->by_part.empty());
  EXPECT_NE(state_.catalog().agreements->terms.Find("amber"), nullptr);
  EXPECT_EQ(*LoadCatalog(*state_.store().TakeSnapshot())->alerts, *state_.catalog().alerts);
  EXPECT_EQ(state_.catalog().alerts->last_cursor, 6);
  EXPECT_TRUE(state_.catalog().alerts->by_id.contains("id5"));
  EXPECT_FALSE(state_.catalog().alerts->by_id.contains("id6"));
}

}  // namespace
}  // namespace plumblane
