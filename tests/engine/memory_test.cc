// What is kept in memory changes no answer: a view with a past, asked at random between random
// entries, says bit for bit what a view says that reads everything anew.
#include "engine/memory.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <mutex>
#include <thread>
#include <utility>

#include "engine/view.h"
#include "support/applied_state.h"

namespace plumblane {
namespace {

using test::AppliedState;
using test::At;
using test::KeyedEvent;
using test::On;
using test::RandomOrders;

constexpr size_t kRoom = 64 << 20, kHardlyAnyRoom = 20'000;
const Instant kNow = StartOf(Day{20'000 + 90});

View Look(const AppliedState& state, const std::shared_ptr<Memory>& memory, Instant now = kNow) {
  return View(state.store().TakeSnapshot(), std::make_shared<const Catalog>(state.catalog()),
              memory, {}, now);
}
View Anew(const AppliedState& state, Instant now = kNow) {
  return Look(state, std::make_shared<Memory>(kRoom), now);
}

Subject AnySubject(RandomOrders& random) {
  const char* suppliers[] = {"lotus", "copper", "amber"};
  const LaneQuery lanes[] = {{"VN", "DE", {}}, {"TR", "SE", "express"}, {"TR", "DE", ""}};
  Subject subject;
  const int kind = random.Below(3);
  if (kind != 0) subject.supplier = suppliers[random.Below(3)];
  if (kind != 1) subject.lane = lanes[random.Below(3)];
  return subject;
}

OrderToSource ToGermany() {
  OrderToSource order;
  order.destination = "DE";
  return order;
}

// From here on orders are ranked by cost.
void Agree(AppliedState& state) {
  Submission content;
  std::vector<Quote> quotes;
  int64_t price = 1000;
  for (const char* supplier : {"lotus", "copper", "amber"}) {
    for (const char* origin : {"VN", "TR"}) {
      Quote quote;
      quote.key = {supplier, "", {origin, "DE", ""}, 1};
      quote.price = {price += 10, "EUR"};
      quote.promise = PromisedDays{0, static_cast<int>(price % 17), false};
      quotes.push_back(quote);
    }
  }
  CostSettings costs;
  costs.currency = "EUR";
  costs.trials.on = true;
  CostClass all;
  all.late_order = 400;
  all.day_late = 50;
  all.day_waiting = 5;
  all.unanswered_day = 20;
  costs.classes = {all};
  content.agreements = {quotes, costs};
  state.Apply(content);
}

void ExpectSameAnswers(const View& ours, const View& theirs, RandomOrders& random) {
  Asked asked;
  if (random.Below(3) == 0) asked.as_of = StartOf(Day{20'000 + 20 + random.Below(4) * 20});
  if (random.Below(3) == 0) asked.half_life_days = 10;
  if (random.Below(3) == 0) asked.rate_mode = RateMode::kAverage;
  if (random.Below(3) == 0) asked.within_days = {4, 9};
  const Subject subject = AnySubject(random);
  const auto x = ours.Score(subject, asked);
  const auto y = theirs.Score(subject, asked);
  ASSERT_EQ(x.status(), y.status());
  if (x.ok()) {
    ASSERT_TRUE(x->answer.score == y->answer.score);
    ASSERT_TRUE(x->answer.pairs == y->answer.pairs);
    ASSERT_EQ(x->answer.last_event, y->answer.last_event);
    ASSERT_EQ(x->basis.as_of, y->basis.as_of);
    ASSERT_EQ(x->basis.rate_mode, y->basis.rate_mode);
    ASSERT_TRUE(x->basis.late_fleet == y->basis.late_fleet);
  }
  const auto ranked = ours.Source(ToGermany(), asked, 3);
  const auto expected = theirs.Source(ToGermany(), asked, 3);
  ASSERT_TRUE(ranked.ok() && expected.ok());
  ASSERT_EQ(ranked->answer.candidates.size(), expected->answer.candidates.size());
  for (size_t i = 0; i < ranked->answer.candidates.size(); ++i) {
    const SourcingCandidate& one = ranked->answer.candidates[i];
    ASSERT_EQ(one.pair, expected->answer.candidates[i].pair);
    ASSERT_EQ(one.ranked.expected_bad, expected->answer.candidates[i].ranked.expected_bad);
    ASSERT_EQ(one.score == nullptr, expected->answer.candidates[i].score == nullptr);
    if (one.score) {
      ASSERT_TRUE(*one.score == *expected->answer.candidates[i].score);
    }
    ASSERT_EQ(one.score != nullptr, i < 3);
    ASSERT_EQ(one.priced == nullptr, expected->answer.candidates[i].priced == nullptr);
    if (!one.priced) continue;
    ASSERT_TRUE(one.priced->cost.parts == expected->answer.candidates[i].priced->cost.parts);
    ASSERT_EQ(one.share, expected->answer.candidates[i].share);
  }
}

// Each batch of a random history is told to the memory, as the engine does.
template <typename Between>
void ApplyAll(AppliedState& state, RandomOrders& random, int orders,
              const std::vector<std::shared_ptr<Memory>>& memories, const Between& between) {
  const std::vector<KeyedEvent> events = random.Make(orders);
  for (size_t at = 0; at < events.size();) {
    Submission content;
    for (int i = random.Below(30); i >= 0 && at < events.size(); --i, ++at) {
      content.events.push_back({events[at].order, events[at].event});
    }
    const Applied applied = state.Apply(content);
    for (const auto& memory : memories) {
      memory->Note(state.catalog().log_sequence, applied.cells);
      if (random.Below(2) == 0) Look(state, memory).MakeAhead();
    }
    // Who asks may come before what was noted is settled, or after.
    const auto settle = [&](int when) {
      for (const auto& memory : memories) {
        if (random.Below(2) == when) memory->Settle();
      }
    };
    settle(0);
    between();
    settle(1);
  }
}

TEST(Memory, ChangesNoAnswer) {
  int asked = 0;
  for (uint64_t seed = 1; seed <= 60; ++seed) {
    RandomOrders random(seed);
    AppliedState state;
    const auto roomy = std::make_shared<Memory>(kRoom);
    const auto cramped = std::make_shared<Memory>(kHardlyAnyRoom);
    if (seed % 2 == 0) Agree(state);
    ApplyAll(state, random, 120, {roomy, cramped}, [&] {
      for (const auto& memory : {roomy, cramped}) {
        // Several entries may pass between two questions, or none.
        for (int more = random.Below(3) * 2; more > 0; --more) {
          const int64_t later = random.Below(2) * 3'600'000 + random.Below(3) * 40'000;
          const Instant now = kNow + random.Below(2) * kMillisPerDay + later;
          ++asked;
          ASSERT_NO_FATAL_FAILURE(
              ExpectSameAnswers(Look(state, memory, now), Anew(state, now), random))
              << "seed " << seed << " after entry " << state.catalog().log_sequence;
        }
      }
    });
    if (HasFatalFailure()) return;
    EXPECT_LE(cramped->series.bytes(), 2 * kHardlyAnyRoom);
  }
  EXPECT_GT(asked, 300);
}

// Ranking counts rates up to the last ended day, scores up to the moment asked: the same orders, at
// whatever time of the day and however long news is waited for.
TEST(Memory, RankedSharesAreThoseOfTheScoresAtAnyTimeOfTheDay) {
  RandomOrders random(3);
  AppliedState state;
  ApplyAll(state, random, 150, {}, [] {});
  int compared = 0;
  for (const int64_t settle_hours : {0, 7, 24, 30}) {
    for (const int64_t hour : {0, 5, 11, 23}) {
      ReadRules rules;
      rules.settle_delay_millis = settle_hours * 3'600'000;
      const View view(
          state.store().TakeSnapshot(), std::make_shared<const Catalog>(state.catalog()),
          std::make_shared<Memory>(kRoom), rules, StartOf(Day{20'000 + 40}) + hour * 3'600'000);
      const auto ranked = view.Source(ToGermany(), {}, 100);
      ASSERT_TRUE(ranked.ok()) << ranked.status();
      for (const SourcingCandidate& one : ranked->answer.candidates) {
        const RateEstimate &late = one.score->on_time, &bad = one.score->defect;
        const double in_time = late.posterior_b / (late.posterior_a + late.posterior_b);
        const double good = bad.posterior_b / (bad.posterior_a + bad.posterior_b);
        ASSERT_TRUE(one.ranked.expected_bad.has_value());
        EXPECT_NEAR(*one.ranked.expected_bad, 1 - in_time * good, 1e-12)
            << settle_hours << " " << hour;
        compared += late.order_count > 0;
      }
    }
  }
  EXPECT_GT(compared, 50);
}

TEST(Memory, AScoreIsTheSameWithinAMinute) {
  RandomOrders random(5);
  AppliedState state;
  const auto memory = std::make_shared<Memory>(kRoom);
  ApplyAll(state, random, 60, {memory}, [] {});
  const Subject subject{"lotus", {}};
  const auto first = Look(state, memory).Score(subject, {});
  ASSERT_TRUE(first.ok() && first->answer.score.transit.longest_watch);
  const double watch = *first->answer.score.transit.longest_watch;
  const struct {
    int64_t later;
    double longer;
  } kRows[] = {{1, 0}, {59'999, 0}, {60'000, 60}, {119'999, 60}};
  for (const auto& [later, longer] : kRows) {
    for (const View& view : {Look(state, memory, kNow + later), Anew(state, kNow + later)}) {
      const auto score = view.Score(subject, {});
      ASSERT_TRUE(score.ok());
      EXPECT_EQ(*score->answer.score.transit.longest_watch, watch + longer) << later;
      EXPECT_EQ(score->basis.as_of, kNow + later);
    }
  }
}

// Where news holds it back the horizon stays, while orders grow older by the day.
TEST(Memory, AScoreOfAnotherDayIsAnotherThoughNothingMoreIsKnown) {
  RandomOrders random(5);
  AppliedState state;
  const auto memory = std::make_shared<Memory>(kRoom);
  ApplyAll(state, random, 60, {memory}, [] {});
  Submission content;
  content.news.push_back({"a", StartOf(Day{20'000 + 40})});
  const Applied applied = state.Apply(content);
  memory->Note(state.catalog().log_sequence, applied.cells);
  ASSERT_TRUE(state.catalog().NewsHorizon());
  const auto weight_on = [&](const std::shared_ptr<Memory>& kept, Instant now) {
    const auto score = Look(state, kept, now).Score({"lotus", {}}, {});
    return score.ok() ? score->answer.score.on_time.weight : -1;
  };
  const double today = weight_on(memory, kNow), tomorrow = weight_on(memory, kNow + kMillisPerDay);
  EXPECT_GT(today, tomorrow);
  EXPECT_EQ(tomorrow, weight_on(std::make_shared<Memory>(kRoom), kNow + kMillisPerDay));
}

TEST(StateBook, KeepsOfTheLatestStateOnlyAndNoMoreThanItMay) {
  StateBook<int, int> book(/*most=*/5);
  int reads = 0;
  const auto ask = [&](uint64_t sequence, int key) {
    const auto read = [&]() -> absl::StatusOr<int> {
      ++reads;
      if (key < 0) return absl::DataLossError("damaged");
      return static_cast<int>(sequence) * 10 + key;
    };
    const auto value = book.Ask(sequence, key, read, [key](int) { return key; });
    return value.ok() ? *value : -1;
  };
  const struct {
    uint64_t sequence;
    int key, value, reads;  // the key is its weight; in all
  } kRows[] = {
      {1, 1, 11, 1},  {1, 1, 11, 1},                  // kept
      {1, -1, -1, 2}, {1, -1, -1, 3},                 // an error is not
      {1, 4, 14, 4},  {1, 1, 11, 4},  {1, 4, 14, 4},  // there is room for both
      {1, 2, 12, 5},  {1, 2, 12, 5},  {1, 1, 11, 6},  // not for a third, so both went
      {1, 6, 16, 7},  {1, 6, 16, 8},  {1, 2, 12, 8},  // more than it may: nothing goes for it
      {2, 1, 21, 9},  {2, 1, 21, 9},                  // another state
      {1, 1, 11, 10}, {2, 1, 21, 10},                 // an older one is read anew and not kept
      {2, 4, 24, 11}, {2, 4, 24, 11}, {2, 1, 21, 11},
  };
  for (const auto& row : kRows) {
    EXPECT_EQ(ask(row.sequence, row.key), row.value) << row.sequence << " " << row.key;
    EXPECT_EQ(reads, row.reads) << row.sequence << " " << row.key;
  }
}

TEST(Memory, AnOlderViewStillSeesTheOldCells) {
  RandomOrders random(7);
  AppliedState state;
  const auto memory = std::make_shared<Memory>(kRoom);
  ApplyAll(state, random, 60, {memory}, [] {});
  const Subject subject{"lotus", {}};
  const View before = Look(state, memory);
  const auto fresh = Anew(state).Score(subject, {});
  ApplyAll(state, random, 60, {memory}, [&] {
    // A newer view brings the memory up to date; the older one must not notice.
    ASSERT_TRUE(Look(state, memory).Score(subject, {}).ok());
    const auto again = before.Score(subject, {});
    ASSERT_TRUE(again.ok());
    EXPECT_EQ(again->answer.score.transit, fresh->answer.score.transit);
    EXPECT_EQ(again->answer.score.on_time.observed, fresh->answer.score.on_time.observed);
    EXPECT_EQ(again->answer.score.underway_count, fresh->answer.score.underway_count);
  });
}

TEST(Memory, WhatNobodyAsksAboutIsAddedUpOnceItIsMuch) {
  RandomOrders random(11);
  AppliedState state;
  const auto memory = std::make_shared<Memory>(kRoom);
  ApplyAll(state, random, 30, {memory}, [] {});
  ASSERT_TRUE(Look(state, memory).ListSuppliers({}, "", 10, {}).ok());
  int settled = 0;
  ApplyAll(state, random, 1000, {memory}, [&] {
    const size_t before = memory->series.bytes();
    memory->Settle();
    settled += memory->series.bytes() != before;
  });
  EXPECT_GT(settled, 10);
  const size_t waiting = memory->series.bytes();
  for (const Pair& pair : state.catalog().pairs->by_supplier) {
    memory->series.Peek(state.catalog().log_sequence, pair);
  }
  EXPECT_LT(waiting, 2 * memory->series.bytes());
  ASSERT_NO_FATAL_FAILURE(ExpectSameAnswers(Look(state, memory), Anew(state), random));
}

TEST(Memory, WhatDecodedCellsTakeIsCountedAsTheyChange) {
  RandomOrders random(13);
  AppliedState state;
  const auto memory = std::make_shared<Memory>(kRoom);
  std::set<Pair> pairs;
  std::shared_ptr<const MeasureSet> held;  // of one of them, so that it is copied
  int rounds = 0;
  ApplyAll(state, random, 400, {memory}, [&] {
    ++rounds;
    for (const Pair& pair : state.catalog().pairs->by_supplier) pairs.insert(pair);
    const auto snapshot = state.store().TakeSnapshot();
    size_t bytes = 0;
    const int keep = random.Below(static_cast<int>(pairs.size()) + 1);
    int at = 0;
    for (const Pair& pair : pairs) {
      const auto cells = memory->series.Read(*snapshot, state.catalog().log_sequence, pair);
      ASSERT_TRUE(cells.ok());
      if (at++ == keep) held = *cells;
      bytes += sizeof(MeasureSet) + (*cells)->kept->bytes();
      for (const Series& series : (*cells)->series) {
        bytes += series.capacity() * sizeof(Cohort);
        for (const auto& [day, cell] : series) {
          const size_t outcomes =
              cell.counted.outcomes.capacity() + cell.excused.outcomes.capacity();
          bytes += outcomes * sizeof(Outcome);
        }
      }
    }
    ASSERT_EQ(memory->series.bytes(), bytes);
  });
  EXPECT_GT(rounds, 50);
}

TEST(Memory, OfLargeFleetsTwoAreKeptOfSmallOnesMore) {
  const auto cells = std::make_shared<const MeasureSet>();
  for (const auto& [pairs, most] : {std::pair{10, 2}, {5, 4}, {1, 8}}) {
    std::set<Pair> all;
    for (int i = 0; i < pairs; ++i) all.insert({std::to_string(i), {"VN", "DE", ""}});
    FleetBook book(20);
    int read = 0;
    const FleetBook::Source source{1, all, [&](const Pair&, bool) {
                                     ++read;
                                     return cells;
                                   }};
    const auto reads_on = [&](int day) {
      const int before = read;
      const Instant now = StartOf(Day{20'000 + day});
      EXPECT_TRUE(book.Ask({{now, now, Day{20'000 + day - 1}}, {}}, source).ok());
      return read - before;
    };
    for (int day = 1; day <= 9; ++day) EXPECT_GT(reads_on(day), pairs);
    for (int day = 9; day > 9 - most; --day) EXPECT_EQ(reads_on(day), 0) << pairs << " pairs";
    EXPECT_GT(reads_on(9 - most), pairs) << pairs << " pairs";
  }
}

// Fleets of `pairs` suppliers that counts what is read to make them.
struct CountedFleets {
  explicit CountedFleets(int pairs) {
    for (int i = 0; i < pairs; ++i) all.insert({std::to_string(i), {"VN", "DE", ""}});
  }
  FleetBook::Source At(uint64_t sequence) {
    return {sequence, all, [this](const Pair&, bool) {
              ++read;
              return std::make_shared<const MeasureSet>();
            }};
  }
  int ReadsToAsk(uint64_t sequence, int day) {
    const int before = read;
    EXPECT_TRUE(book.Ask({OnDay(day), {}}, At(sequence)).ok());
    return read - before;
  }
  int ReadsAhead(uint64_t sequence, int day) {
    const int before = read;
    book.MakeAhead(OnDay(day), At(sequence));
    return read - before;
  }
  void Change(uint64_t sequence, const std::string& supplier, int day) {
    book.Note(sequence,
              {{{supplier, {"VN", "DE", ""}}, {{Measure::kOnTime, Day{20'000 + day}, Cell{}}}}});
  }
  static Moment OnDay(int day) {
    const Instant now = StartOf(Day{20'000 + day});
    return {now, now, Day{20'000 + day - 1}};
  }

  std::set<Pair> all;
  FleetBook book;
  int read = 0;
};

TEST(Memory, WhatWasAskedLatelyIsMadeAheadOfWhoAsksNext) {
  CountedFleets fleets(5);
  EXPECT_EQ(fleets.ReadsAhead(1, 10), 0) << "nobody has asked";
  EXPECT_EQ(fleets.ReadsToAsk(1, 10), 6) << "five pairs and their sum";
  fleets.Change(2, "3", 4);
  EXPECT_EQ(fleets.ReadsToAsk(1, 10), 0) << "an entry that cannot be seen yet is no concern";
  EXPECT_EQ(fleets.ReadsAhead(2, 10), 2) << "what changed, and the sum";
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 0);
  EXPECT_EQ(fleets.ReadsToAsk(1, 10), 0) << "who still looks at the state before has it too";
  fleets.Change(3, "3", 10);
  EXPECT_EQ(fleets.ReadsAhead(3, 11), 6) << "a day has ended";
  EXPECT_EQ(fleets.ReadsToAsk(3, 11), 0);
  EXPECT_EQ(fleets.ReadsToAsk(3, 10), 0);
}

TEST(Memory, NothingIsMadeAheadForLongOfWhatNobodyAsksOrOfManyPairs) {
  CountedFleets fleets(5);
  EXPECT_EQ(fleets.ReadsToAsk(1, 10), 6);
  int states = 0;
  for (uint64_t sequence = 2; sequence < 100; ++sequence) {
    fleets.Change(sequence, "3", 4);
    states += fleets.ReadsAhead(sequence, 10) != 0;
  }
  EXPECT_EQ(states, FleetBook::kStatesAhead);
  EXPECT_EQ(fleets.ReadsToAsk(99, 10), 2) << "what was not made ahead is made when asked";

  CountedFleets many(FleetBook::kMostPairsAhead + 1);
  many.ReadsToAsk(1, 10);
  many.Change(2, "3", 4);
  EXPECT_EQ(many.ReadsAhead(2, 10), 0);
  EXPECT_EQ(many.ReadsToAsk(2, 10), 2);
}

TEST(Memory, AskedOfAnEarlierStateIsNotTakenForTheLaterOne) {
  CountedFleets fleets(5);
  fleets.ReadsToAsk(1, 10);
  fleets.Change(2, "3", 4);
  fleets.Change(3, "3", 5);
  fleets.Change(3, "4", 5);
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 2) << "by the entry that can be seen";
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 0);
  EXPECT_EQ(fleets.ReadsToAsk(3, 10), 3) << "both that a later entry changed, and the sum";
  EXPECT_EQ(fleets.ReadsToAsk(3, 10), 0);
}

TEST(Memory, OfAStateBeforeWhatWasNotedWithoutAFleetNoneIsKept) {
  CountedFleets fleets(5);
  fleets.Change(2, "3", 4);
  EXPECT_EQ(fleets.ReadsToAsk(1, 10), 6);
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 6);
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 0);
}

TEST(Memory, WhatIsMadeAheadWhileAnEarlierStateIsAskedIsNotUndoneByIt) {
  const FleetBook::Question question{CountedFleets::OnDay(10), {}};
  const std::set<Pair> pairs = {{"3", {"VN", "DE", ""}}};
  // One more order came late with each entry.
  const auto cells = [](uint64_t sequence) {
    Cell cell;
    cell.counted.entered = 10;
    cell.counted.outcomes = {{Code::kDelivered, 0, 10 - static_cast<int64_t>(sequence)}};
    auto measures = std::make_shared<MeasureSet>();
    (*measures)[Measure::kOnTime].push_back({Day{20'000 + 4}, cell});
    return measures;
  };
  const auto at = [&](uint64_t sequence) {
    return FleetBook::Source{sequence, pairs, [=](const Pair&, bool) { return cells(sequence); }};
  };
  const auto changed = [](FleetBook& book, uint64_t sequence) {
    book.Note(sequence, {{{"3", {"VN", "DE", ""}}, {{Measure::kOnTime, Day{20'000 + 4}, Cell{}}}}});
  };
  FleetBook book, anew;
  ASSERT_TRUE(book.Ask(question, at(1)).ok());
  changed(book, 2);
  bool between = true;
  const FleetBook::Source interrupted{2, pairs, [&](const Pair&, bool) {
                                        if (std::exchange(between, false)) {
                                          changed(book, 3);
                                          book.MakeAhead(question.ended, at(3));
                                        }
                                        return cells(2);
                                      }};
  const auto second = book.Ask(question, interrupted);
  const auto third = book.Ask(question, at(3));
  const auto expected = anew.Ask(question, at(3));
  ASSERT_TRUE(second.ok() && third.ok() && expected.ok());
  EXPECT_FALSE(between);
  EXPECT_TRUE((*third)->pairs[0].rates == (*expected)->pairs[0].rates);
  EXPECT_FALSE((*second)->pairs[0].rates == (*third)->pairs[0].rates);
}

TEST(Memory, WhoAsksOfTheStateBeforeDoesNotUndoWhatIsBeingMadeAhead) {
  CountedFleets fleets(5);
  fleets.ReadsToAsk(1, 10);
  fleets.Change(2, "3", 4);
  fleets.book.MakeAhead(CountedFleets::OnDay(10), {2, fleets.all, [&](const Pair&, bool) {
                                                     EXPECT_EQ(fleets.ReadsToAsk(1, 10), 0);
                                                     return std::make_shared<const MeasureSet>();
                                                   }});
  EXPECT_EQ(fleets.ReadsToAsk(2, 10), 0) << "it is there";
}

TEST(Memory, ReadingAsideIsWhatTheStoreHasAndLeavesTheStateBeforeInMemory) {
  RandomOrders random(19);
  AppliedState state;
  SeriesCache cache(kRoom);
  int aside = 0;
  const auto read_all = [&] {
    const auto snapshot = state.store().TakeSnapshot();
    for (const Pair& pair : state.catalog().pairs->by_supplier) {
      ASSERT_TRUE(cache.Read(*snapshot, state.catalog().log_sequence, pair).ok());
    }
  };
  const std::vector<KeyedEvent> events = random.Make(300);
  for (size_t at = 0; at < events.size();) {
    ASSERT_NO_FATAL_FAILURE(read_all());
    const uint64_t before = state.catalog().log_sequence;
    const std::set<Pair> known = state.catalog().pairs->by_supplier;
    Submission content;
    for (int i = random.Below(30); i >= 0 && at < events.size(); --i, ++at) {
      content.events.push_back({events[at].order, events[at].event});
    }
    cache.Note(before + 1, state.Apply(content).cells);
    const auto snapshot = state.store().TakeSnapshot();
    for (const Pair& pair : known) {
      const auto ours = cache.ReadAside(*snapshot, before + 1, pair, Measure::kDefect);
      const auto stored = ReadPair(*snapshot, pair, Measure::kDefect);
      ASSERT_TRUE(ours.ok() && stored.ok());
      for (const Measure measure : {Measure::kOnTime, Measure::kDefect}) {
        ASSERT_TRUE((**ours)[measure] == (*stored)[measure]);
      }
      ASSERT_NE(cache.Peek(before, pair), nullptr);
      ++aside;
    }
  }
  EXPECT_GT(aside, 100);
}

TEST(Memory, LookingForAlertsMayBeGivenUpAtEveryPair) {
  RandomOrders random(17);
  AppliedState state;
  ApplyAll(state, random, 150, {}, [] {});
  const auto pairs = static_cast<int>(state.catalog().pairs->by_supplier.size());
  const auto expected = std::make_shared<Memory>(kRoom);
  ASSERT_TRUE(Look(state, expected).UpdateAlerts({}).ok());
  int given_up = 0;
  for (absl::Status status = absl::CancelledError(); !status.ok(); ++given_up) {
    const auto memory = std::make_shared<Memory>(kRoom);
    int left = given_up;
    status = Look(state, memory).UpdateAlerts([&left] { return left-- == 0; });
    if (status.ok()) break;
    ASSERT_TRUE(absl::IsCancelled(status)) << status;
    ASSERT_TRUE(Look(state, memory).UpdateAlerts({}).ok());
    ASSERT_EQ(memory->alerts.News({}, kNow), expected->alerts.News({}, kNow));
    ASSERT_EQ(memory->alerts.Watches().size(), expected->alerts.Watches().size());
  }
  EXPECT_GT(given_up, 2 * pairs) << "months are made from each, and charts of each";
}

TEST(Memory, ReadersAndTheWriterDoNotDisturbEachOther) {
  for (const size_t room : {kHardlyAnyRoom, kRoom}) {
    RandomOrders random(13);
    AppliedState state;
    const auto memory = std::make_shared<Memory>(room);
    ApplyAll(state, random, 40, {memory}, [] {});
    std::mutex mutex;
    View shown = Look(state, memory);
    std::atomic<bool> done = false;
    std::vector<std::thread> readers;
    for (int i = 0; i < 3; ++i) {
      readers.emplace_back([&, i] {
        RandomOrders choice(static_cast<uint64_t>(100 + i));
        while (!done) {
          const View view = [&] {
            std::lock_guard lock(mutex);
            return shown;
          }();
          const auto answer = view.Score(AnySubject(choice), {});
          EXPECT_TRUE(answer.ok() || absl::IsNotFound(answer.status())) << answer.status();
        }
      });
    }
    ApplyAll(state, random, 200, {memory}, [&] {
      std::lock_guard lock(mutex);
      shown = Look(state, memory);
    });
    done = true;
    for (std::thread& reader : readers) reader.join();
    ASSERT_NO_FATAL_FAILURE(ExpectSameAnswers(shown, Anew(state), random));
  }
}

}  // namespace
}  // namespace plumblane
