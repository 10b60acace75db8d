// The backtest by hand, against a replay that sums everything anew for every order, and on invented
// streams whose true rates are known.
#include "scoring/backtest.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "scoring/fixture.h"
#include "scoring/fleet_prior.h"
#include "scoring/invention.h"
#include "scoring/rate.h"

namespace plumblane {
namespace {

const Day kFirst{20'000};  // the first day of a block

// `orders` due on a day, `late` of them not delivered by their promise.
Cohort Due(Day day, int64_t orders, int64_t late) {
  if (late == orders) return Counted(day, orders);
  return Counted(day, orders, {{Code::kDelivered, 0, orders - late}});
}

Moment Settled(Day last) { return Asked(last + 2); }

const ForecasterResult& Find(const BacktestResult& result, ForecastKind kind,
                             double half_life = 0) {
  return *std::find_if(result.forecasters.begin(), result.forecasters.end(),
                       [&](const ForecasterResult& forecaster) {
                         return forecaster.kind == kind && forecaster.half_life_days == half_life;
                       });
}

// One account of it all: for every order of every day, every cohort again.
struct Naive {
  std::vector<OnTimeHistory> histories;
  Moment moment;
  BacktestRules rules;

  // Calls with (day, weight it is given) of everything known for the orders of `due`.
  int Lag() const {
    return rules.days_ahead + 1 +
           static_cast<int>(std::ceil(static_cast<double>(rules.settle_delay_millis) / 86.4e6));
  }
  double Weight(ForecastKind kind, double half_life, Day day, Day due) const {
    if (EndOf(day) > StartOf(due - rules.days_ahead) - rules.settle_delay_millis) return 0;
    if (kind == ForecastKind::kHalfLife) {
      return std::pow(.5, (due - rules.days_ahead - day) / half_life);
    }
    const bool last_days = kind == ForecastKind::kLastDays || kind == ForecastKind::kLastDaysAlone;
    return last_days && day <= due - Lag() - 30 ? 0 : 1;
  }
  WeightedSums Sums(const OnTimeHistory& history, ForecastKind kind, double half_life,
                    Day due) const {
    WeightedSums sums;
    for (const Cohort& cohort : history.on_time) {
      const double weight = Weight(kind, half_life, cohort.day, due);
      const int64_t orders = cohort.cell.counted.entered;
      const auto& outcomes = cohort.cell.counted.outcomes;
      sums.Add(weight, orders,
               static_cast<double>(orders - (outcomes.empty() ? 0 : outcomes[0].count)));
    }
    return sums;
  }
  double Mean(ForecastKind kind, double half_life, Day due) const {
    WeightedSums total;
    for (const OnTimeHistory& history : histories) {
      const WeightedSums sums = Sums(history, kind, half_life, due);
      total.w1 += sums.w1;
      total.s += sums.s;
    }
    return (total.s + .5) / (total.w1 + 1);
  }
  Prior PriorOf(const Pair& pair, ForecastKind kind, double half_life, Day fitted) const {
    std::vector<RateRecord> records;
    for (const OnTimeHistory& history : histories) {
      records.push_back({history.pair, Sums(history, kind, half_life, fitted)});
    }
    const auto fleet = FleetPrior::Fit(records);
    return fleet ? fleet->PriorOf(pair) : Prior{Mean(kind, half_life, fitted), 4};
  }
  double Forecast(const OnTimeHistory& history, ForecastKind kind, double half_life, Day due,
                  Day fitted) const {
    const double mean = Mean(ForecastKind::kLifetime, 0, due);
    const WeightedSums sums = Sums(history, kind, half_life, due);
    if (kind == ForecastKind::kAllPairs) return mean;
    if (kind == ForecastKind::kLifetimeAlone || kind == ForecastKind::kLastDaysAlone) {
      return (sums.s + mean) / (sums.w1 + 1);
    }
    return PosteriorOf(PriorOf(history.pair, kind, half_life, fitted), sums.s, sums.w1).Mean();
  }

  struct Order {
    Day due;
    double loss = 0, square = 0;
  };
  std::vector<Order> Orders(ForecastKind kind, double half_life) const {
    int first = 1 << 30;
    std::map<int, int> first_of_block;  // day on which orders are forecast, by block
    for (const OnTimeHistory& history : histories) {
      for (const Cohort& cohort : history.on_time) {
        if (cohort.cell.counted.entered > 0 && EndOf(cohort.day) <= moment.horizon) {
          first = std::min(first, cohort.day.number);
        }
      }
    }
    first += std::max(rules.first_days, Lag());
    const auto each = [&](const auto& visit) {
      for (const OnTimeHistory& history : histories) {
        for (const Cohort& cohort : history.on_time) {
          if (cohort.day.number < first || EndOf(cohort.day) > moment.horizon) continue;
          if (cohort.cell.counted.entered > 0) visit(history, cohort);
        }
      }
    };
    each([&](const OnTimeHistory&, const Cohort& cohort) {
      int& day = first_of_block.emplace(cohort.day.number / 5, 1 << 30).first->second;
      day = std::min(day, cohort.day.number);
    });
    std::vector<Order> orders;
    each([&](const OnTimeHistory& history, const Cohort& cohort) {
      const double p = Forecast(history, kind, half_life, cohort.day,
                                Day{first_of_block[cohort.day.number / 5]});
      const auto& outcomes = cohort.cell.counted.outcomes;
      const int64_t in_time = outcomes.empty() ? 0 : outcomes[0].count;
      for (int64_t i = 0; i < cohort.cell.counted.entered; ++i) {
        const double given = std::clamp(i < in_time ? 1 - p : p, 1e-4, 1 - 1e-4);
        const double late = i < in_time ? 0 : 1;
        orders.push_back({cohort.day, -std::log(given), (p - late) * (p - late)});
      }
    });
    return orders;
  }

  void ExpectAgrees() const {
    const auto result = Backtest(histories, moment, rules);
    const std::vector<Order> lifetime = Orders(ForecastKind::kLifetime, 0);
    const std::vector<Order> setting = Orders(ForecastKind::kHalfLife, rules.setting_days);
    ASSERT_EQ(result.has_value(), !lifetime.empty());
    if (!result) return;
    EXPECT_EQ(result->order_count, std::ssize(lifetime));
    for (const ForecasterResult& forecaster : result->forecasters) {
      SCOPED_TRACE(testing::Message() << "kind " << static_cast<int>(forecaster.kind) << ", "
                                      << forecaster.half_life_days << " days");
      const std::vector<Order> orders = Orders(forecaster.kind, forecaster.half_life_days);
      double loss = 0, square = 0;
      for (const Order& order : orders) loss += order.loss, square += order.square;
      ExpectSame(forecaster.log_loss, loss / static_cast<double>(orders.size()));
      ExpectSame(forecaster.brier, square / static_cast<double>(orders.size()));
      const auto compare = [&](const std::vector<Order>& baseline, const auto& difference) {
        std::vector<JudgedLoss> judged;
        for (size_t i = 0; i < orders.size(); ++i) {
          judged.push_back({orders[i].due, orders[i].loss, baseline[i].loss});
        }
        const auto expected = CompareLosses(judged);
        ASSERT_EQ(difference.has_value(), expected.has_value());
        if (!expected) return;
        EXPECT_EQ(difference->order_count, expected->order_count);
        EXPECT_EQ(difference->block_count, expected->block_count);
        EXPECT_NEAR(difference->mean, expected->mean, 1e-10);
        EXPECT_NEAR(difference->standard_error, expected->standard_error, 1e-10);
      };
      compare(lifetime, forecaster.from_lifetime);
      compare(setting, forecaster.from_setting);
    }
  }
};

// A pair whose first cohort is on kFirst: one late of four; the day after next, two of two.
std::vector<OnTimeHistory> OnePair() {
  return {{PairOf(1, 1), {Due(kFirst, 4, 1), Due(kFirst + 2, 2, 2), Due(kFirst + 9, 3, 1)}}};
}

TEST(BacktestTest, ByHand) {
  // On day 9, ordered on day 5, days 0 to 3 are known: three late of six.
  const auto result = *Backtest(OnePair(), Settled(kFirst + 9),
                                {.setting_days = 2, .days_ahead = 4, .first_days = 8});
  EXPECT_EQ(result.order_count, 3);
  EXPECT_EQ(result.late_count, 1);
  EXPECT_EQ(result.first_due, kFirst + 9);
  EXPECT_EQ(result.last_due, kFirst + 9);
  ASSERT_EQ(result.forecasters.size(), 6u);
  const auto expect = [&](ForecastKind kind, double half_life, double p) {
    const ForecasterResult& forecaster = Find(result, kind, half_life);
    ExpectSame(forecaster.log_loss, -(std::log(p) + 2 * std::log(1 - p)) / 3);
    ExpectSame(forecaster.brier, ((1 - p) * (1 - p) + 2 * p * p) / 3);
    EXPECT_EQ(forecaster.is_setting, half_life == 2);
    EXPECT_EQ(forecaster.from_lifetime, std::nullopt);  // a single block
    EXPECT_EQ(forecaster.from_setting, std::nullopt);
  };
  expect(ForecastKind::kAllPairs, 0, 3.5 / 7);
  expect(ForecastKind::kLifetimeAlone, 0, 3.5 / 7);
  expect(ForecastKind::kLastDaysAlone, 0, 3.5 / 7);
  const auto with_prior = [](const WeightedSums& sums) {
    const FleetPrior prior = *FleetPrior::Fit({{PairOf(1, 1), sums}});
    return PosteriorOf(prior.PriorOf(PairOf(1, 1)), sums.s, sums.w1).Mean();
  };
  expect(ForecastKind::kLifetime, 0, with_prior({6, 6, 3}));
  expect(ForecastKind::kLastDays, 0, with_prior({6, 6, 3}));
  const double old = std::pow(.5, 2.5), young = std::pow(.5, 1.5);  // of days 0 and 2 on day 5
  expect(ForecastKind::kHalfLife, 2,
         with_prior({4 * old + 2 * young, 4 * old * old + 2 * young * young, old + 2 * young}));
}

TEST(BacktestTest, DaysAheadAndTheDelaySayWhatIsKnown) {
  struct Row {
    int days_ahead;
    int64_t delay;
    double mean;  // of all pairs for day 9
  };
  for (const Row& row : std::vector<Row>{{0, kMillisPerDay, 3.5 / 7},
                                         {5, kMillisPerDay, 3.5 / 7},      // up to day 2
                                         {6, kMillisPerDay, 1.5 / 5},      // up to day 1
                                         {6, 0, 3.5 / 7},                  // up to day 2
                                         {5, kMillisPerDay + 1, 1.5 / 5},  // a day more
                                         {7, kMillisPerDay, 1.5 / 5}}) {
    SCOPED_TRACE(testing::Message() << row.days_ahead << " days, " << row.delay << " ms");
    const auto result = *Backtest(
        OnePair(), Settled(kFirst + 9),
        {.days_ahead = row.days_ahead, .first_days = 9, .settle_delay_millis = row.delay});
    ExpectSame(Find(result, ForecastKind::kAllPairs).log_loss,
               -(std::log(row.mean) + 2 * std::log(1 - row.mean)) / 3);
  }
  // Nothing had settled when they were ordered.
  EXPECT_FALSE(Backtest(OnePair(), Settled(kFirst + 9), {.days_ahead = 8, .first_days = 1}));
  EXPECT_TRUE(Backtest(OnePair(), Settled(kFirst + 9), {.days_ahead = 7, .first_days = 1}));
}

TEST(BacktestTest, TooLittleHistoryIsNoResult) {
  EXPECT_FALSE(Backtest({}, Settled(kFirst), {}));
  EXPECT_FALSE(Backtest(OnePair(), Settled(kFirst + 9), {.days_ahead = 0, .first_days = 10}));
  EXPECT_TRUE(Backtest(OnePair(), Settled(kFirst + 9), {.days_ahead = 0, .first_days = 9}));
  // Day 9 is not settled yet.
  EXPECT_FALSE(Backtest(OnePair(), Settled(kFirst + 8), {.days_ahead = 0, .first_days = 9}));
}

TEST(BacktestTest, ExcusedOrdersAreNotRead) {
  std::vector<OnTimeHistory> histories = OnePair();
  const BacktestRules rules{.days_ahead = 0, .first_days = 5};
  const double before = Backtest(histories, Settled(kFirst + 9), rules)->forecasters[0].log_loss;
  AddSeries(histories[0].on_time, {Excused(kFirst - 3, 5), Excused(kFirst + 2, 5)});
  AddSeries(histories[0].on_time, {Excused(kFirst + 9, 5)});
  const auto result = *Backtest(histories, Settled(kFirst + 9), rules);
  EXPECT_EQ(result.order_count, 3);
  EXPECT_EQ(result.forecasters[0].log_loss, before);
}

TEST(BacktestTest, TheSettingIsTriedAndRepeatsCountOnce) {
  const auto result = *Backtest(
      OnePair(), Settled(kFirst + 9),
      {.setting_days = 20, .half_lives_days = {5, 20, 5}, .days_ahead = 0, .first_days = 5});
  EXPECT_EQ(std::count_if(result.forecasters.begin(), result.forecasters.end(),
                          [](const auto& forecaster) { return forecaster.half_life_days > 0; }),
            2);
  EXPECT_TRUE(Find(result, ForecastKind::kHalfLife, 20).is_setting);
  EXPECT_FALSE(Find(result, ForecastKind::kHalfLife, 5).is_setting);
}

// Fleets of a few pairs, with days and weeks without orders, and excused orders.
std::vector<OnTimeHistory> RandomFleet(Dice& dice, int pairs, int days) {
  std::vector<OnTimeHistory> histories;
  for (int i = 0; i < pairs; ++i) {
    OnTimeHistory history{PairOf(i / 3, i % 3), {}};
    int gap = 0;
    for (int day = dice.Below(days / 2); day < days; ++day) {
      if (gap-- > 0) continue;
      if (dice.Below(12) == 0) gap = dice.Below(40);
      const int orders = dice.Below(4), excused = dice.Below(8) == 0;
      if (orders > 0)
        AddSeries(history.on_time, {Due(kFirst + day, orders, dice.Hits(orders, .3))});
      if (excused > 0) AddSeries(history.on_time, {Excused(kFirst + day, excused)});
    }
    histories.push_back(history);
  }
  return histories;
}

TEST(BacktestTest, AgreesWithSummingEverythingAnewForEveryOrder) {
  Dice dice(20);
  for (int round = 0; round < 12; ++round) {
    SCOPED_TRACE(round);
    const int days = 20 + dice.Below(70);
    Naive naive{
        RandomFleet(dice, 1 + dice.Below(7), days), Settled(kFirst + days - dice.Below(9)), {}};
    naive.rules = {.setting_days = 1 + dice.Unit() * 50,
                   .half_lives_days = {.1, 400},
                   .days_ahead = dice.Below(15),
                   .first_days = 1 + dice.Below(30),
                   .settle_delay_millis = dice.Below(4) * kMillisPerDay / 2};
    naive.ExpectAgrees();
  }
}

TEST(BacktestTest, TheOrderOfThePairsGivenDoesNotMatter) {
  Dice dice(21);
  std::vector<OnTimeHistory> histories = RandomFleet(dice, 8, 120);
  const BacktestRules rules{.half_lives_days = {7, 90}};
  const auto before = *Backtest(histories, Settled(kFirst + 120), rules);
  for (int round = 0; round < 5; ++round) {
    for (size_t i = histories.size(); i > 1; --i) {
      std::swap(histories[i - 1], histories[static_cast<size_t>(dice.Below(static_cast<int>(i)))]);
    }
    const auto after = *Backtest(histories, Settled(kFirst + 120), rules);
    for (size_t i = 0; i < before.forecasters.size(); ++i) {
      EXPECT_EQ(after.forecasters[i].kind, before.forecasters[i].kind);
      EXPECT_EQ(after.forecasters[i].log_loss, before.forecasters[i].log_loss);
      EXPECT_EQ(after.forecasters[i].brier, before.forecasters[i].brier);
      EXPECT_EQ(after.forecasters[i].from_lifetime->standard_error,
                before.forecasters[i].from_lifetime->standard_error);
    }
  }
}

// Twelve pairs with `orders` a day and one rate for all, which `rate` gives by day.
template <typename RateOn>
BacktestResult Streams(int days, int orders, Dice& dice, const RateOn& rate) {
  std::vector<OnTimeHistory> histories;
  for (int i = 0; i < 12; ++i) {
    histories.push_back({PairOf(i / 3, i % 3), {}});
    for (int day = 0; day < days; ++day) {
      histories.back().on_time.push_back(
          Due(kFirst + day, orders, dice.Hits(orders, rate(i, day))));
    }
  }
  return *Backtest(histories, Settled(kFirst + days),
                   {.setting_days = 45, .half_lives_days = {7, 180}});
}

TEST(BacktestTest, OfAConstantRateAllForecastsComeNearTheEntropy) {
  Dice dice(22);
  const auto result = Streams(200, 4, dice, [](int, int) { return .2; });
  const double share = static_cast<double>(result.late_count) / result.order_count;
  const double entropy = -share * std::log(share) - (1 - share) * std::log(1 - share);
  for (const ForecasterResult& forecaster : result.forecasters) {
    EXPECT_GT(forecaster.log_loss, entropy);
    EXPECT_LT(forecaster.log_loss, entropy + .01);
  }
  // Nothing beats the average of all where all are alike.
  EXPECT_EQ(result.forecasters[0].kind, ForecastKind::kAllPairs);
}

TEST(BacktestTest, OfADriftingRateTheShorterHalfLivesAreBest) {
  Dice dice(23);
  // Each pair in turn, half a year good and half a year bad.
  const auto result =
      Streams(720, 2, dice, [](int pair, int day) { return (day / 180 + pair) % 2 ? .4 : .05; });
  EXPECT_EQ(result.forecasters[0].kind, ForecastKind::kHalfLife);
  EXPECT_EQ(result.forecasters[0].half_life_days, 7);
  const double week = Find(result, ForecastKind::kHalfLife, 7).log_loss;
  const double setting = Find(result, ForecastKind::kHalfLife, 45).log_loss;
  EXPECT_LT(week, setting);
  EXPECT_LT(setting, Find(result, ForecastKind::kHalfLife, 180).log_loss);
  EXPECT_LT(result.forecasters[0].from_setting->mean,
            -2 * result.forecasters[0].from_setting->standard_error);
  EXPECT_LT(result.forecasters[0].from_lifetime->mean,
            -2 * result.forecasters[0].from_lifetime->standard_error);
}

TEST(BacktestTest, OfPairsThatDifferAndKeepTheirRatesLongMemoriesAreBest) {
  Dice dice(24);
  const auto result = Streams(300, 2, dice, [](int pair, int) { return pair % 2 ? .4 : .05; });
  EXPECT_GT(Find(result, ForecastKind::kHalfLife, 7).from_lifetime->mean,
            2 * Find(result, ForecastKind::kHalfLife, 7).from_lifetime->standard_error);
  EXPECT_EQ(result.forecasters.back().kind, ForecastKind::kAllPairs);
}

TEST(BacktestTest, EveryOrderIsForecastOnce) {
  Dice dice(25);
  const auto result = Streams(100, 3, dice, [](int, int) { return .5; });
  EXPECT_EQ(result.order_count, (100 - 30) * 12 * 3);
  EXPECT_EQ(result.first_due, kFirst + 30);
  EXPECT_EQ(result.last_due, kFirst + 99);
  EXPECT_EQ(Find(result, ForecastKind::kLifetime).from_lifetime->mean, 0);
  EXPECT_EQ(Find(result, ForecastKind::kAllPairs).from_lifetime->block_count, 14);
}

}  // namespace
}  // namespace plumblane
