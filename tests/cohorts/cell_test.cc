// Cells form a group under addition: what was put in can be taken out without a trace, in any
// order, and sums may be made in any grouping. Small cases first, then random ones.
#include "cohorts/cell.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace plumblane {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::SizeIs;

struct PairEntry {
  Pair pair;
  Entry entry;
};

// Entries of few pairs, days and outcomes, so that many meet in one cell.
class RandomEntries {
 public:
  explicit RandomEntries(uint64_t seed) : random_(seed) {}

  int Below(int n) { return static_cast<int>(random_() % static_cast<uint64_t>(n)); }

  PairEntry One() {
    PairEntry one;
    one.pair = {Below(2) ? "lotus" : "copper", {"VN", Below(2) ? "DE" : "SE", ""}};
    Entry& entry = one.entry;
    entry.measure = static_cast<Measure>(1 + Below(kMeasureCount));
    entry.day = Day{20'000 + Below(3)};
    entry.excused = Below(4) == 0;
    entry.entered = Below(5) == 0 ? 0 : 1;
    for (int outcomes = Below(3); outcomes > 0; --outcomes) entry.outcomes.push_back(OneOutcome());
    return one;
  }
  std::vector<PairEntry> Many(int count) {
    std::vector<PairEntry> entries;
    for (int i = 0; i < count; ++i) entries.push_back(One());
    return entries;
  }
  Series OneSeries() {
    Series series;
    for (int day = 0; day < 8; ++day) {
      Cell cell;
      for (int tallies = Below(3); tallies > 0; --tallies) {
        Tally& tally = Below(2) ? cell.counted : cell.excused;
        tally.entered += Below(5) - 2;
        const Outcome outcome = OneOutcome();
        tally.Add(outcome.code, outcome.bucket, outcome.count);
      }
      if (!cell.empty()) series.push_back({Day{day}, cell});
    }
    return series;
  }
  template <typename T>
  void Shuffle(std::vector<T>& all) {
    std::shuffle(all.begin(), all.end(), random_);
  }

 private:
  Outcome OneOutcome() {
    constexpr Code kCodes[] = {Code::kDelivered, Code::kDeliveredLate, Code::kLost, Code::kFault};
    const int64_t count = Below(3) - 1;
    return {kCodes[Below(4)], static_cast<uint32_t>(Below(3)), count == 0 ? 2 : count};
  }

  std::mt19937_64 random_;
};

Cells Sum(const std::vector<PairEntry>& entries) {
  Cells sum;
  for (const auto& [pair, entry] : entries) sum.Add(pair, entry, 1);
  return sum;
}

const Pair kPair{"lotus", {"VN", "DE", "express"}};

PairEntry Delivered(Measure measure) {
  return {kPair, {measure, Day{7}, false, 1, {{Code::kDelivered, 3, 1}}}};
}

TEST(Tally, OutcomesAreSortedAndNeverZero) {
  Tally tally;
  tally.Add(Code::kLost, 30, 2);
  tally.Add(Code::kDelivered, 9, 1);
  tally.Add(Code::kDelivered, 4, 1);
  tally.Add(Code::kDelivered, 4, 0);
  tally.Add(Code::kDelivered, 5, 0);
  EXPECT_THAT(tally.outcomes,
              ElementsAre(Outcome{Code::kDelivered, 4, 1}, Outcome{Code::kDelivered, 9, 1},
                          Outcome{Code::kLost, 30, 2}));
  tally.Add(Code::kDelivered, 9, -1);
  tally.Add(Code::kLost, 30, -3);
  EXPECT_THAT(tally.outcomes,
              ElementsAre(Outcome{Code::kDelivered, 4, 1}, Outcome{Code::kLost, 30, -1}));
}

TEST(Tally, AddingAllAtOnceIsAddingOneByOne) {
  RandomEntries random(4);
  const auto one_tally = [&](int outcomes) {
    Tally tally;
    tally.entered = random.Below(9);
    for (; outcomes > 0; --outcomes) {
      tally.Add(random.Below(3) ? Code::kDelivered : Code::kLeft,
                static_cast<uint32_t>(random.Below(25)), random.Below(5) - 2);
    }
    return tally;
  };
  for (int round = 0; round < 2'000; ++round) {
    Tally sum = one_tally(random.Below(30)), one_by_one = sum;
    const Tally other = one_tally(random.Below(30));
    const int64_t sign = random.Below(2) ? 1 : -1;
    sum.Add(other, sign);
    one_by_one.entered += sign * other.entered;
    for (const Outcome& outcome : other.outcomes) {
      one_by_one.Add(outcome.code, outcome.bucket, sign * outcome.count);
    }
    ASSERT_EQ(sum, one_by_one) << round;
    sum.Add(Tally(sum), -1);
    ASSERT_TRUE(sum.empty());
  }
}

TEST(Tally, IsEmptyOnlyWithoutEntriesAndOutcomes) {
  Tally entered, decided;
  entered.entered = -1;
  decided.Add(Code::kFault, 0, 1);
  EXPECT_FALSE(entered.empty());
  EXPECT_FALSE(decided.empty());
  EXPECT_TRUE(Tally{}.empty());
}

TEST(Cells, TheSumOverAllPairsReceivesRatesOnly) {
  for (int i = 1; i <= kMeasureCount; ++i) {
    const Measure measure = static_cast<Measure>(i);
    const Cells cells = Sum({Delivered(measure)});
    const bool is_rate = measure == Measure::kOnTime || measure == Measure::kDefect;
    EXPECT_EQ(cells.map().count({Pair{}, measure, Day{7}}), is_rate ? 1u : 0u) << i;
    EXPECT_THAT(cells.map(), SizeIs(is_rate ? 2 : 1)) << i;
  }
}

TEST(Cells, TheSumOverAllPairsIsTheSumOfTheirCells) {
  RandomEntries random(1);
  const Cells cells = Sum(random.Many(500));
  std::map<CellKey, Cell> totals;
  for (const auto& [key, cell] : cells.map()) {
    const bool is_rate = key.measure == Measure::kOnTime || key.measure == Measure::kDefect;
    if (is_rate && key.pair != Pair{}) totals[{Pair{}, key.measure, key.day}].Add(cell);
  }
  ASSERT_FALSE(totals.empty());
  for (const auto& [key, cell] : totals) {
    const auto it = cells.map().find(key);
    EXPECT_EQ(it == cells.map().end() ? Cell{} : it->second, cell);
  }
}

TEST(Cells, ExcusedOrdersAreCountedApart) {
  PairEntry excused = Delivered(Measure::kTransit);
  excused.entry.excused = true;
  const Cells cells = Sum({excused, Delivered(Measure::kTransit)});
  ASSERT_THAT(cells.map(), SizeIs(1));
  const Cell& cell = cells.map().begin()->second;
  EXPECT_EQ(cell.counted.entered, 1);
  EXPECT_EQ(cell.excused.entered, 1);
  EXPECT_EQ(cell.counted, cell.excused);
}

TEST(Cells, WhatIsTakenOutLeavesNothingInWhateverOrder) {
  for (uint64_t seed = 1; seed <= 50; ++seed) {
    RandomEntries random(seed);
    std::vector<PairEntry> entries = random.Many(200);
    Cells cells = Sum(entries);
    EXPECT_FALSE(cells.empty());
    random.Shuffle(entries);
    for (const auto& [pair, entry] : entries) cells.Add(pair, entry, -1);
    EXPECT_THAT(cells.map(), IsEmpty()) << "seed " << seed;
    EXPECT_TRUE(cells.empty());
  }
}

TEST(Cells, OrderAndGroupingOfAdditionsDoNotMatter) {
  for (uint64_t seed = 1; seed <= 50; ++seed) {
    RandomEntries random(seed);
    const std::vector<PairEntry> a = random.Many(40), b = random.Many(40), c = random.Many(40);
    Cells left = Sum(a);  // (a + b) + c
    left.Add(Sum(b));
    left.Add(Sum(c));
    Cells inner = Sum(b);  // (c + b) + a
    inner.Add(Sum(c));
    inner.Add(Sum(a));
    std::vector<PairEntry> all = a;
    all.insert(all.end(), b.begin(), b.end());
    all.insert(all.end(), c.begin(), c.end());
    random.Shuffle(all);
    EXPECT_TRUE(left == inner) << "seed " << seed;
    EXPECT_TRUE(left == Sum(all)) << "seed " << seed;
  }
}

TEST(Cells, HoldNoEmptyCellAndNoZeroCount) {
  RandomEntries random(3);
  Cells cells;
  for (int i = 0; i < 3000; ++i) {
    const auto [pair, entry] = random.One();
    cells.Add(pair, entry, random.Below(2) ? 1 : -1);
    for (const auto& [key, cell] : cells.map()) ASSERT_FALSE(cell.empty());
  }
  for (const auto& [key, cell] : cells.map()) {
    for (const Tally* tally : {&cell.counted, &cell.excused}) {
      for (const Outcome& outcome : tally->outcomes) ASSERT_NE(outcome.count, 0);
    }
  }
}

struct PlausibleCase {
  const char* name;
  Measure measure;
  int64_t entered;
  std::vector<Outcome> outcomes;
  bool plausible;
};

class Plausible : public ::testing::TestWithParam<PlausibleCase> {};

TEST_P(Plausible, InEitherTally) {
  const PlausibleCase& c = GetParam();
  Tally tally;
  tally.entered = c.entered;
  for (const Outcome& outcome : c.outcomes) tally.Add(outcome.code, outcome.bucket, outcome.count);
  EXPECT_EQ(IsPlausible(c.measure, {tally, {}}), c.plausible);
  EXPECT_EQ(IsPlausible(c.measure, {{}, tally}), c.plausible);
}

INSTANTIATE_TEST_SUITE_P(
    Cells, Plausible,
    ::testing::Values(
        PlausibleCase{"Nothing", Measure::kOnTime, 0, {}, true},
        PlausibleCase{"AllStillOpen", Measure::kOnTime, 3, {}, true},
        PlausibleCase{"AllDecided",
                      Measure::kOnTime,
                      3,
                      {{Code::kDelivered, 0, 2}, {Code::kDeliveredLate, 4, 1}},
                      true},
        PlausibleCase{"MoreDecidedThanEntered",
                      Measure::kOnTime,
                      2,
                      {{Code::kDelivered, 0, 2}, {Code::kDeliveredLate, 4, 1}},
                      false},
        PlausibleCase{"DecidedWithoutEntering", Measure::kDefect, 0, {{Code::kLost, 30, 1}}, false},
        PlausibleCase{"LessThanNoneEntered", Measure::kTransit, -1, {}, false},
        PlausibleCase{
            "LessThanNoneDecided", Measure::kTransit, 2, {{Code::kDelivered, 300, -1}}, false},
        PlausibleCase{"FaultsDidNotEnter",
                      Measure::kHandling,
                      1,
                      {{Code::kShipped, 300, 1}, {Code::kFault, 0, 5}},
                      true},
        PlausibleCase{"LessThanNoFault", Measure::kHandling, 1, {{Code::kFault, 0, -1}}, false},
        PlausibleCase{
            "MoneyMayBeNegativeAndMoreThanOrders",
            Measure::kMoney,
            1,
            {{Code::kCost, PackCurrency("EUR"), 1375}, {Code::kSale, PackCurrency("USD"), -20}},
            true},
        PlausibleCase{"MoneyAtRiskIsMoreThanOrders",
                      Measure::kExposure,
                      1,
                      {{Code::kCost, PackCurrency("EUR"), 1375}},
                      true},
        PlausibleCase{"MoneyAtRiskOfLessThanNoOrder", Measure::kExposure, -1, {}, false},
        PlausibleCase{"MoneyOfLessThanNoOrder", Measure::kMoney, -1, {}, false}),
    [](const auto& info) { return info.param.name; });

TEST(Cells, OneBadTallyMakesTheCellImplausible) {
  Tally good, bad;
  good.entered = 1;
  bad.entered = -1;
  EXPECT_TRUE(IsPlausible(Measure::kOnTime, {good, good}));
  EXPECT_FALSE(IsPlausible(Measure::kOnTime, {good, bad}));
  EXPECT_FALSE(IsPlausible(Measure::kOnTime, {bad, good}));
}

std::map<Day, Cell> AsMap(const Series& series) {
  std::map<Day, Cell> map;
  for (const Cohort& cohort : series) map[cohort.day] = cohort.cell;
  return map;
}

TEST(Series, ASumIsTheSumDayByDayWithoutEmptyDays) {
  int cancelled = 0;
  for (uint64_t seed = 1; seed <= 500; ++seed) {
    RandomEntries random(seed);
    const Series a = random.OneSeries(), b = random.OneSeries();
    std::map<Day, Cell> expected = AsMap(a);
    for (const Cohort& cohort : b) expected[cohort.day].Add(cohort.cell);
    cancelled += static_cast<int>(
        std::erase_if(expected, [](const auto& entry) { return entry.second.empty(); }));
    Series sum = a;
    AddSeries(sum, b);
    ASSERT_EQ(AsMap(sum), expected) << "seed " << seed;
    ASSERT_EQ(sum.size(), expected.size());
    ASSERT_TRUE(std::is_sorted(sum.begin(), sum.end(),
                               [](const auto& x, const auto& y) { return x.day < y.day; }));
    Series other = b;
    AddSeries(other, a);
    ASSERT_EQ(other, sum) << "seed " << seed;
  }
  EXPECT_GT(cancelled, 0) << "no day ever cancelled out: the seeds test less than they should";
}

TEST(Series, AddingNothingChangesNothing) {
  RandomEntries random(4);
  const Series series = random.OneSeries();
  ASSERT_FALSE(series.empty());
  Series sum = series;
  AddSeries(sum, {});
  EXPECT_EQ(sum, series);
  Series from_nothing;
  AddSeries(from_nothing, series);
  EXPECT_EQ(from_nothing, series);
}

TEST(Measures, CurrenciesPackIntoDifferentNumbers) {
  std::vector<uint32_t> packed;
  for (char a = 'A'; a <= 'Z'; ++a) {
    for (char b = 'A'; b <= 'Z'; ++b) {
      for (char c = 'A'; c <= 'Z'; ++c) packed.push_back(PackCurrency(std::string{a, b, c}));
    }
  }
  std::sort(packed.begin(), packed.end());
  EXPECT_EQ(std::adjacent_find(packed.begin(), packed.end()), packed.end());
}

}  // namespace
}  // namespace plumblane
