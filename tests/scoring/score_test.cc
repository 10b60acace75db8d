// The whole score: how measures, scopes and moments come together.
#include "scoring/score.h"

#include <gtest/gtest.h>

#include <vector>

#include "cohorts/buckets.h"
#include "scoring/fixture.h"

namespace plumblane {
namespace {

const uint32_t kTwoDays = BucketOf(2 * kMillisPerDay);

// Five orders of one day, told in every measure. One of them excused: late and not yet arrived.
MeasureSet FiveOrders() {
  const Day paid = kToday - 90;
  const Day promised = kToday - 80;
  MeasureSet measures;
  measures[Measure::kOnTime] =
      SeriesOf({Counted(promised, 4, {{Code::kDelivered, 0, 3}, {Code::kDeliveredLate, 3, 1}}),
                Excused(promised, 1)});
  measures[Measure::kDefect] =
      SeriesOf({Counted(promised, 4, {{Code::kDamaged, 1, 1}}), Excused(promised, 1)});
  measures[Measure::kHandling] = {Counted(paid, 5, {{Code::kShipped, kTwoDays, 5}})};
  measures[Measure::kTransit] =
      SeriesOf({Counted(paid, 4, {{Code::kDelivered, kTwoDays, 4}}), Excused(paid, 1)});
  measures[Measure::kDelivery] =
      SeriesOf({Counted(paid, 3, {{Code::kDelivered, kTwoDays, 3}, {Code::kFault, 0, 1}}),
                Excused(paid, 1)});
  measures[Measure::kResponse] = {
      Counted(promised, 1, {{Code::kAnswered, kTwoDays, 1}, {Code::kFault, 0, 2}})};
  measures[Measure::kMoney] = {Counted(paid, 5, {{Code::kCost, 5412, 12'300}})};
  measures[Measure::kUnderway] = {Counted(paid, 5, {{Code::kClosed, 9, 4}})};
  measures[Measure::kOverdue] = {Counted(promised, 5, {{Code::kClosed, 0, 3}})};
  measures[Measure::kExposure] = {Counted(promised, 2, {{Code::kCost, 5412, 4'100}})};
  return measures;
}

ScoreEstimate Score(const MeasureSet& measures, Scope scope = Scope::kCounted,
                    const Priors& priors = {}, const Moment& moment = Asked(kToday)) {
  return ScoreOf(measures, scope, priors, moment, kNoDecay);
}

TEST(ScoreTest, EachMeasureIsReadFromItsOwnCells) {
  const ScoreEstimate score = Score(FiveOrders());
  EXPECT_EQ(score.on_time.order_count, 4);
  EXPECT_EQ(score.on_time.hit_count, 1);
  EXPECT_EQ(*score.on_time.observed, .75);
  EXPECT_EQ(score.defect.order_count, 4);
  EXPECT_EQ(score.defect.hit_count, 1);
  EXPECT_EQ(*score.defect.observed, .25);
  EXPECT_EQ(score.handling.finished_count, 5);
  EXPECT_EQ(score.transit.finished_count, 4);
  EXPECT_EQ(score.delivery.finished_count, 3);
  EXPECT_EQ(score.response.finished_count, 1);
  EXPECT_EQ(score.underway_count, 1);
  EXPECT_EQ(score.overdue_count, 2);
  EXPECT_EQ(score.excused_count, 1);
  EXPECT_EQ(score.fault_count, 3);
}

TEST(ScoreTest, PriorsOfTheFleetAreThoseOfEachRate) {
  const Pair pair{"s", {"VN", "DE", ""}};
  MeasureSet orders = FiveOrders();
  orders[Measure::kDefect] = {Counted(kToday - 80, 4, {{Code::kDamaged, 1, 2}})};
  const Moment moment = Asked(kToday);
  const Series& on_time = orders[Measure::kOnTime];
  const Series& defect = orders[Measure::kDefect];
  const Priors pooled = PooledPriors(on_time, defect, moment, kNoDecay);
  const std::vector<PairOfFleet> pairs = {
      {pair, RatesOf(on_time, defect, Scope::kCounted, moment, kNoDecay)}};
  const FleetPriors fleet(pairs, pooled);
  const std::vector<Pair> asked = {pair};
  const Priors priors = fleet.Of(asked);
  EXPECT_EQ(priors.late, FleetPrior::Fit({{pair, pairs[0].rates.on_time.Sums()}})->PriorOf(pair));
  EXPECT_NE(priors.late, pooled.late);
  EXPECT_EQ(priors.defect,
            FleetPrior::Fit({{pair, DefectSums(pairs[0].rates.defect, pooled.defect_delay)}})
                ->PriorOf(pair));
  EXPECT_EQ(priors.defect_delay, pooled.defect_delay);
  EXPECT_EQ(fleet.late_evidence()->pair_count, 1);
  EXPECT_EQ(FleetPriors({}, pooled).Of(asked), pooled);
  EXPECT_FALSE(FleetPriors({}, pooled).late_evidence());
  const ScoreEstimate score = Score(orders, Scope::kCounted, priors);
  ExpectSame(score.on_time.posterior_a, priors.late->mean * priors.late->strength + 1);
  ExpectSame(score.defect.posterior_b, (1 - priors.defect->mean) * priors.defect->strength + 2);
}

TEST(ScoreTest, TheModeChoosesTheRates) {
  MeasureSet orders = FiveOrders();
  AddSeries(orders[Measure::kOnTime], {Counted(kToday - 20, 3)});
  AddSeries(orders[Measure::kDefect], {Counted(kToday - 20, 3, {{Code::kLost, 2, 1}})});
  const Moment moment = Asked(kToday);
  ScoreRules rules{.half_life_days = 10};
  const Priors priors =
      PooledPriors(orders[Measure::kOnTime], orders[Measure::kDefect], moment, rules);
  const auto score = [&] { return ScoreOf(orders, Scope::kCounted, priors, moment, rules); };
  const ScoreEstimate current = score();
  const OnTimeCounts counts = CountOnTime(orders[Measure::kOnTime], Scope::kCounted, moment, rules);
  EXPECT_EQ(current.on_time, OnTimeRate(counts, priors.late, RateMode::kCurrent));
  rules.rate_mode = RateMode::kAverage;
  const ScoreEstimate average = score();
  EXPECT_EQ(average.on_time, OnTimeRate(counts, priors.late, RateMode::kAverage));
  const DefectEstimate defects = DefectsOf(orders[Measure::kDefect], Scope::kCounted, priors.defect,
                                           priors.defect_delay, moment, rules);
  EXPECT_EQ(average.defect, defects.rate);
  EXPECT_EQ(average.defect_kinds, defects.kinds);
  EXPECT_NE(average.defect, current.defect);
  EXPECT_EQ(average.on_time.observed, current.on_time.observed);
  EXPECT_EQ(average.defect_kinds, current.defect_kinds);
}

TEST(ScoreTest, DefectKindsAddUpToWhatWasObserved) {
  const ScoreEstimate score = Score(FiveOrders());
  EXPECT_EQ(score.defect_kinds->Of(Code::kDamaged), *score.defect.observed);
  EXPECT_EQ(score.defect_kinds->Of(Code::kLost), 0);
}

TEST(ScoreTest, ArrivalsAreReadFromTheDeliveriesOfTheScope) {
  const std::vector<double> days = {1, 10};
  const auto share = [&](Scope scope) {
    const auto arrivals = ScoreOf(FiveOrders(), scope, {}, Asked(kToday), kNoDecay, days).arrivals;
    EXPECT_EQ(arrivals.at(0).estimate->share, 0);
    return arrivals.at(1).estimate->share;
  };
  EXPECT_EQ(share(Scope::kCounted), 1);
  EXPECT_EQ(share(Scope::kWithExcused), .75);
  EXPECT_TRUE(Score(FiveOrders()).arrivals.empty());
}

// Two outcomes of one order.
TEST(ScoreDeathTest, MoreOutcomesThanEntriesStopTheProgram) {
  const std::pair<Measure, Outcome> cases[] = {
      {Measure::kOnTime, {Code::kDelivered, 0, 2}},   {Measure::kDefect, {Code::kLost, 0, 2}},
      {Measure::kHandling, {Code::kShipped, 0, 2}},   {Measure::kTransit, {Code::kDelivered, 0, 2}},
      {Measure::kDelivery, {Code::kDelivered, 0, 2}}, {Measure::kResponse, {Code::kAnswered, 0, 2}},
      {Measure::kUnderway, {Code::kClosed, 0, 2}},    {Measure::kOverdue, {Code::kClosed, 0, 2}}};
  for (const auto& [measure, outcome] : cases) {
    SCOPED_TRACE(IndexOf(measure));
    MeasureSet measures;
    measures[measure] = {Counted(kToday - 90, 1, {outcome})};
    EXPECT_DEATH(Score(measures), ">= 0");
    // Excused orders that lack outcomes do not make up for it.
    AddSeries(measures[measure], {Excused(kToday - 90, 5)});
    EXPECT_DEATH(Score(measures, Scope::kWithExcused), ">= 0");
  }
}

TEST(ScoreTest, ALaneIncludesExcusedOrders) {
  const ScoreEstimate lane = Score(FiveOrders(), Scope::kWithExcused);
  EXPECT_EQ(lane.on_time.order_count, 5);
  EXPECT_EQ(lane.on_time.hit_count, 2);
  EXPECT_EQ(lane.defect.order_count, 5);
  EXPECT_EQ(lane.handling.entered_count, 5);
  EXPECT_EQ(lane.transit.entered_count, 5);
  EXPECT_EQ(lane.delivery.entered_count, 4);
  EXPECT_EQ(lane.response.entered_count, 1);
  EXPECT_EQ(lane.underway_count, 1);
  EXPECT_EQ(lane.excused_count, 1);
  EXPECT_EQ(lane.fault_count, 3);
}

TEST(ScoreTest, NothingIsNotZero) {
  const ScoreEstimate score = Score({});
  EXPECT_EQ(score, ScoreEstimate{});
  EXPECT_FALSE(score.late_prior || score.defect_prior);
  EXPECT_FALSE(score.on_time.observed || score.defect.observed);
  EXPECT_FALSE(score.transit.median || score.transit.p90);
}

TEST(ScoreTest, PriorsReachTheirOwnRates) {
  const Priors priors{Prior{.1, 4}, Prior{.025, 4}, {}};
  const ScoreEstimate score = Score({}, Scope::kCounted, priors);
  EXPECT_DOUBLE_EQ(score.on_time.posterior_a, .4);
  EXPECT_DOUBLE_EQ(score.on_time.posterior_b, 3.6);
  EXPECT_DOUBLE_EQ(score.defect.posterior_a, .1);
  EXPECT_DOUBLE_EQ(score.defect.posterior_b, 3.9);
}

TEST(ScoreTest, PriorsComeFromTheTotals) {
  const MeasureSet total = FiveOrders();
  const Priors priors =
      PooledPriors(total[Measure::kOnTime], total[Measure::kDefect], Asked(kToday), kNoDecay);
  ExpectSame(priors.late->mean, 1.5 / 5);  // one of four, and half an order of doubt
  ExpectSame(priors.defect->mean, 1.5 / 5);
  EXPECT_EQ(priors.defect_delay.share.size(), 61u);
  EXPECT_EQ(PooledPriors({}, {}, Asked(kToday), kNoDecay), Priors{});
}

TEST(ScoreTest, ExcusedOrdersAreCountedOnceSettled) {
  MeasureSet measures;
  measures[Measure::kOnTime] = {Excused(kToday - 2, 3), Excused(kToday - 1, 4)};
  EXPECT_EQ(Score(measures).excused_count, 3);
}

TEST(ScoreTest, FaultsAreCountedUpToTodayWhateverTheWatch) {
  MeasureSet measures;
  for (const Day day : {kToday - 9, kToday, kToday + 1}) {
    measures[Measure::kTransit].push_back(Counted(day, 0, {{Code::kFault, 0, 1}}));
    measures[Measure::kHandling].push_back(Excused(day, 0, {{Code::kFault, 0, 2}}));
  }
  EXPECT_EQ(Score(measures).fault_count, 6);
}

TEST(ScoreTest, MoneyIsNotScored) {
  MeasureSet without = FiveOrders();
  without[Measure::kMoney].clear();
  without[Measure::kExposure].clear();
  EXPECT_EQ(Score(without), Score(FiveOrders()));
}

TEST(ScoreTest, AnEarlierMomentGivesTheAnswerOfThatMoment) {
  // 79 days ago the promised day was just over: no defect of a day later is known.
  const Moment then = Asked(kToday - 78);
  const ScoreEstimate score = Score(FiveOrders(), Scope::kCounted, {}, then);
  EXPECT_EQ(score.on_time.order_count, 4);
  EXPECT_EQ(score.defect.order_count, 4);
  EXPECT_EQ(score.defect.hit_count, 0);
  EXPECT_EQ(score.response.finished_count, 0);
  EXPECT_EQ(score.transit.finished_count, 4);
}

}  // namespace
}  // namespace plumblane
