// What was agreed and who was given which order, through the log: stored as taken, read back equal,
// and what became of an assignment is a function of its order alone.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <future>
#include <set>
#include <variant>

#include "engine/applier.h"
#include "engine/assignments.h"
#include "engine/engine.h"
#include "storage/keys.h"
#include "support/applied_state.h"
#include "support/faulty_store.h"
#include "support/fixed_clock.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::FaultyStore;
using test::KeyedEvent;
using test::On;
using test::OrderBuilder;
using test::RandomOrders;

Quote SomeQuote(int64_t cents = 900) {
  Quote quote;
  quote.key = {"lotus", "lamp", {"VN", "DE", "express"}, 10};
  quote.price = {cents, "EUR"};
  quote.freight = 350;
  quote.duty = 12;
  quote.promise = PromisedDays{2, 8, true};
  quote.valid_from = On("2026-03-01");
  quote.valid_until = On("2026-06-30");
  return quote;
}

Terms SomeTerms() {
  Terms terms;
  terms.supplier = "lotus";
  terms.monthly_order_limit = 0;
  terms.month_start_day = 15;
  terms.next_step_cost = Money{4900, "EUR"};
  terms.claim_days = 0;
  terms.promise = PromisedDays{0, 12, false};
  terms.origin = "VN";
  terms.service = "sea";
  terms.closures = {{On("2026-02-14"), On("2026-02-22")}, {On("2026-09-02"), On("2026-09-02")}};
  terms.targets = {0.9, 0.0, 12.5, 3.0};
  terms.tags = {"backup", "lamps"};
  return terms;
}

CostSettings SomeCosts() {
  CostSettings costs;
  costs.currency = "EUR";
  CostClass all, lamps;
  all.day_late = 30;
  lamps.shop = "harbour";
  lamps.item_class = "lamps";
  lamps.sale = 0;
  lamps.late_order = 500;
  lamps.day_waiting = 5;
  lamps.unanswered_day = 40;
  lamps.defects[IndexOfKind(Code::kLost)] = {1, true};
  lamps.defects[IndexOfKind(Code::kDamaged)] = {0.5, false};
  costs.classes = {all, lamps};
  costs.trials = {true, 0.05, 20};
  return costs;
}

Submission EveryLoad() {
  Submission content;
  Quote plain = SomeQuote(1200);
  plain.key = {"lotus", "", {"VN", "SE", ""}, 1};
  plain.promise.reset();
  plain.valid_until.reset();
  Terms bare;
  bare.supplier = "copper";
  content.agreements = {
      std::vector<Quote>{SomeQuote(), plain},
      std::vector<Terms>{SomeTerms(), bare},
      Pause{"lotus", true, On("2026-12-01"), "quality"},
      Pause{"copper", true, std::nullopt, ""},
      Pause{"copper", false, std::nullopt, ""},
      std::vector<ExchangeRate>{{"USD", "EUR", 9213, 4, On("2026-03-01")}},
      std::vector<Item>{{"lamp", "lamps", "lotus", "LT-1"}, {"bowl", "bowls", "", ""}},
      SomeCosts()};
  return content;
}

Assignment Given(const OrderKey& order, const std::string& supplier, int part = 1) {
  Assignment given;
  given.order = order;
  given.part = part;
  given.time = At("2026-03-01T09:30");
  given.pick = {supplier, {"VN", "DE", "express"}};
  given.destination = "DE";
  given.item = "lamp";
  given.supplier_item = "LT-1";
  given.units = 3;
  given.currency = "EUR";
  given.mode = AssignMode::kShared;
  given.trial = true;
  given.dearer = 0.0;
  given.expected_saving = -12.25;
  given.reason = "to learn";
  given.instead_of = "copper";
  given.candidates = {{given.pick, 2700, 3100.5, 0.11, 0.4, ""},
                      {{"copper", {"TR", "DE", ""}}, {}, {}, {}, 0, "paused"}};
  return given;
}

void ExpectSameAgreements(const Agreements& a, const Agreements& b) {
  EXPECT_EQ(a.quotes.all(), b.quotes.all());
  EXPECT_EQ(a.terms.all(), b.terms.all());
  EXPECT_EQ(a.terms.pauses(), b.terms.pauses());
  EXPECT_EQ(a.exchange.all(), b.exchange.all());
  EXPECT_EQ(a.items.all(), b.items.all());
  EXPECT_EQ(a.costs, b.costs);
  EXPECT_EQ(a.costs_loaded_at, b.costs_loaded_at);
}

TEST(Agreements, ALogEntryIsReadBackWithEveryField) {
  Submission content = EveryLoad();
  Assignment bare;
  bare.order = {"harbour", "2"};
  content.assignments = {Given({"harbour", "1"}, "lotus", 2), bare};
  const auto entry = DecodeLogEntry(EncodeLogEntry(At("2026-03-01"), content));
  ASSERT_TRUE(entry.ok()) << entry.status();
  EXPECT_EQ(entry->receive_time, At("2026-03-01"));
  EXPECT_TRUE(entry->content.agreements == content.agreements);
  EXPECT_TRUE(entry->content.assignments == content.assignments);
}

TEST(Agreements, AreTheSumOfTheirLoadsAndReadBackInOrder) {
  AppliedState state;
  state.Apply(EveryLoad());
  Submission later;
  Quote cheaper = SomeQuote(800);
  cheaper.valid_from = On("2026-04-01");
  later.agreements = {std::vector<Quote>{cheaper}};
  const auto before = state.catalog().agreements;
  state.Apply(later);
  const Agreements& now = *state.catalog().agreements;
  const Lane lane{"VN", "DE", "express"};
  EXPECT_EQ(now.quotes.Find("lotus", "lamp", lane, 10, On("2026-03-31"))->quote, SomeQuote());
  EXPECT_EQ(now.quotes.Find("lotus", "lamp", lane, 10, On("2026-04-01"))->quote, cheaper);
  EXPECT_EQ(now.terms.Find("lotus")->terms, SomeTerms());
  EXPECT_NE(now.terms.PausedOn("lotus", On("2026-11-30")), nullptr);
  EXPECT_EQ(now.terms.PausedOn("copper", On("2026-11-30")), nullptr);
  EXPECT_EQ(now.costs, SomeCosts());
  EXPECT_EQ(now.costs_loaded_at, At("2026-01-01"));
  // A published catalog never changes.
  EXPECT_EQ(before->quotes.Find("lotus", "lamp", lane, 10, On("2026-04-01"))->quote, SomeQuote());

  const auto loaded = LoadCatalog(*state.store().TakeSnapshot());
  ASSERT_TRUE(loaded.ok()) << loaded.status();
  ExpectSameAgreements(*loaded->agreements, now);
}

TEST(Agreements, ADamagedLoadIsDataLoss) {
  for (const std::string_view bytes : {"", "\xff"}) {
    AppliedState state;
    Batch damage;
    damage.Put(Space::kMeta, AgreementKey(1, 0), std::string(bytes));
    ASSERT_TRUE(state.store().Write(damage, true).ok());
    EXPECT_TRUE(absl::IsDataLoss(LoadCatalog(*state.store().TakeSnapshot()).status()));
  }
}

AssignmentState StateIn(const AppliedState& state, const OrderKey& order, int part = 1) {
  const auto record = state.store().TakeSnapshot()->Get(Space::kIndex, AssignmentKey(order, part));
  const auto stored = DecodeAssignment(**record);
  EXPECT_TRUE(stored.ok()) << stored.status();
  const bool open = state.catalog().assignments->by_part.contains({order, part});
  EXPECT_EQ(open, stored->state == AssignmentState::kOpen);
  EXPECT_EQ(state.Difference(), "");
  return stored->state;
}

void Give(AppliedState& state, const Assignment& given) {
  Submission content;
  content.assignments = {given};
  state.Apply(content);
}

TEST(Assignments, AreOpenUntilTheirPartIsPaidAndAgainWhenThatIsRetracted) {
  AppliedState state;
  OrderBuilder order({"harbour", "1"});
  Give(state, Given(order.key(), "S"));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kOpen);
  EXPECT_EQ(state.catalog().assignments->by_part.at({order.key(), 1}),
            (OpenAssignments::Open{"S", At("2026-03-01T09:30")}));
  state.Apply(OrderBuilder(order.key()).From("other").Part(2).Paid("2026-03-02"));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kOpen);
  state.Apply(order.Paid("2026-03-02"));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kPaid);
  state.Apply(order.Retracted("2026-03-03", order.last_id()));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kOpen);
  state.Apply(order.Paid("2026-03-04").With([](Event& e) { e.supplier = "copper"; }));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kPaidElsewhere);
}

TEST(Assignments, APaymentWithoutSupplierCountsUntilOneIsNamed) {
  AppliedState state;
  OrderBuilder order({"harbour", "1"});
  Give(state, Given(order.key(), "S"));
  state.Apply(order.Paid("2026-03-02").With([](Event& e) { e.supplier.clear(); }));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kPaid);
  state.Apply(order.Shipped("2026-03-04").With([](Event& e) { e.supplier = "copper"; }));
  EXPECT_EQ(StateIn(state, order.key()), AssignmentState::kPaidElsewhere);
}

TEST(Assignments, OfAPartThatIsPaidAlreadyAreStoredClosed) {
  AppliedState state;
  OrderBuilder before({"harbour", "1"}), same({"harbour", "2"});
  state.Apply(before.Paid("2026-03-02"));
  Give(state, Given(before.key(), "S"));
  EXPECT_EQ(StateIn(state, before.key()), AssignmentState::kPaid);
  Submission content;  // of one entry the event comes first
  content.assignments = {Given(same.key(), "copper")};
  content.events = {{same.key(), same.Paid("2026-03-02").events()[0]}};
  state.Apply(content);
  EXPECT_EQ(StateIn(state, same.key()), AssignmentState::kPaidElsewhere);
}

TEST(Assignments, TheFirstOfAPartStays) {
  AppliedState state;
  const OrderKey order{"harbour", "1"};
  Assignment second = Given(order, "copper"), third = Given(order, "amber");
  second.time = At("2026-03-02");
  Submission content;
  content.assignments = {Given(order, "S"), second};
  state.Apply(content);
  const auto bytes = state.Bytes();
  Give(state, third);
  EXPECT_TRUE(state.Bytes() == bytes);
  EXPECT_EQ(state.catalog().assignments->by_part.at({order, 1}).supplier, "S");
}

// One step of a history: an event or an assignment.
using Step = std::variant<KeyedEvent, Assignment>;

void ApplySteps(AppliedState& state, const std::vector<Step>& steps, RandomOrders& random) {
  for (size_t at = 0; at < steps.size();) {
    Submission content;
    for (int size = 1 + random.Below(30); size > 0 && at < steps.size(); --size, ++at) {
      if (const auto* event = std::get_if<KeyedEvent>(&steps[at])) {
        content.events.push_back({event->order, event->event});
      } else {
        content.assignments.push_back(std::get<Assignment>(steps[at]));
      }
    }
    state.Apply(content);
  }
}

TEST(Assignments, AnyOrderAndSplitOfEventsAndAssignmentsLeavesTheSameBytes) {
  int closed = 0, open = 0;
  for (uint64_t seed = 1; seed <= 60; ++seed) {
    RandomOrders random(seed);
    std::vector<Step> steps;
    std::set<std::pair<OrderKey, int>> given;
    for (const KeyedEvent& event : random.Make(40)) {
      const char* const suppliers[] = {"lotus", "copper", "amber"};
      if (given.emplace(event.order, event.event.part).second && random.Below(2)) {
        steps.emplace_back(Given(event.order, suppliers[random.Below(3)], event.event.part));
      }
      steps.emplace_back(event);
    }
    AppliedState straight, other;
    ApplySteps(straight, steps, random);
    std::shuffle(steps.begin(), steps.end(), random.generator());
    ApplySteps(other, steps, random);
    ASSERT_TRUE(straight.Bytes() == other.Bytes()) << "seed " << seed;
    ASSERT_EQ(*straight.catalog().assignments, *other.catalog().assignments);
    ASSERT_EQ(other.Difference(), "");
    const auto loaded = LoadCatalog(*other.store().TakeSnapshot());
    ASSERT_TRUE(loaded.ok());
    ASSERT_EQ(*loaded->assignments, *other.catalog().assignments);
    open += static_cast<int>(other.catalog().assignments->by_part.size());
    closed += static_cast<int>(given.size());
  }
  EXPECT_GT(open, 10);
  EXPECT_GT(closed, 5 * open / 4);
}

TEST(Assignments, TheAuditFindsAStateThatItsOrderDoesNotMake) {
  AppliedState state;
  const OrderKey order{"harbour", "1"};
  Give(state, Given(order, "S"));
  ASSERT_EQ(state.Difference(), "");
  Batch damage;
  damage.Put(Space::kIndex, AssignmentKey(order, 1),
             EncodeAssignment({Given(order, "S"), AssignmentState::kPaid}));
  ASSERT_TRUE(state.store().Write(damage, true).ok());
  EXPECT_THAT(state.Difference(), ::testing::HasSubstr("differs from the fold of its order"));
  damage.Delete(Space::kIndex, AssignmentKey(order, 1));
  ASSERT_TRUE(state.store().Write(damage, true).ok());
  EXPECT_THAT(state.Difference(), ::testing::HasSubstr("open assignments"));
}

TEST(Agreements, OfAnEngineSurviveAPowerCut) {
  FaultyStore store;
  test::FixedClock clock(At("2026-03-01T12:00"));
  Submission content = EveryLoad();
  content.assignments = {Given({"harbour", "1"}, "lotus")};
  StoreLog log(store);
  Engine engine(store, log, clock, {});
  ASSERT_TRUE(engine.Start().ok());
  std::promise<Receipt> receipt;
  ASSERT_TRUE(engine.Submit(Submission(content),
                            [&](const Receipt& answer) { receipt.set_value(answer); }));
  ASSERT_TRUE(receipt.get_future().get().status.ok());

  MemoryStore left;
  store.PowerCutInto(left);
  StoreLog left_log(left);
  Engine again(left, left_log, clock, {});
  ASSERT_TRUE(again.Start().ok());
  const View view = again.Look(), before = engine.Look();
  ExpectSameAgreements(*view.catalog().agreements, *before.catalog().agreements);
  EXPECT_EQ(view.catalog().agreements->costs_loaded_at, At("2026-03-01T12:00"));
  EXPECT_EQ(*view.catalog().assignments, *before.catalog().assignments);
  EXPECT_EQ(view.catalog().assignments->by_part.size(), 1u);
}

TEST(Upgrade, DataOfTheFirstVersionGetsWhatItDidNotKeep) {
  RandomOrders random(9);
  AppliedState state;
  ApplyInBatches(state, random.Make(400), random);
  const auto expected = state.Bytes();
  Batch first;
  int exposed = 0;
  const auto scanned =
      state.store().TakeSnapshot()->Scan(Space::kCells, "", "", [&](auto key, auto) {
        if (ParseCellPageKey(key)->measure != Measure::kExposure) return true;
        first.Delete(Space::kCells, std::string(key));
        ++exposed;
        return true;
      });
  ASSERT_TRUE(scanned.ok());
  ASSERT_GT(exposed, 5);
  for (const PairIndex kind : {PairIndex::kClaims, PairIndex::kUnclaimed}) {
    int indexed = 0;
    ASSERT_TRUE(state.store()
                    .TakeSnapshot()
                    ->Scan(Space::kIndex, PairIndexPrefix(kind), "",
                           [&](auto key, auto) {
                             first.Delete(Space::kIndex, std::string(key));
                             ++indexed;
                             return true;
                           })
                    .ok());
    ASSERT_GT(indexed, 2) << static_cast<char>(kind);
  }
  first.Put(Space::kMeta, std::string(kFormatKey), EncodeFormat({1, {}, {}, {}}));
  ASSERT_TRUE(state.store().Write(first, true).ok());
  ASSERT_NE(state.Difference(), "");

  Format format{1, {}, {}, {}};
  const auto batch = UpgradeFormat(*state.store().TakeSnapshot(), state.catalog(), format);
  ASSERT_TRUE(batch.ok()) << batch.status();
  ASSERT_TRUE(state.store().Write(*batch, true).ok());
  EXPECT_TRUE(state.Bytes() == expected);
  EXPECT_EQ(state.Difference(), "");
  EXPECT_EQ(DecodeFormat(**state.store().TakeSnapshot()->Get(Space::kMeta, kFormatKey))->version,
            kFormatVersion);
}

}  // namespace
}  // namespace plumblane
