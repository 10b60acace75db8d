// Properties over random orders: scores agree with a second, naive account of the same rules; an
// answer as of a moment does not know what came later; what is kept changes nothing; cells add.
#include <gtest/gtest.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "cohorts/buckets.h"
#include "scoring/fixture.h"
#include "scoring/naive_model.h"
#include "scoring/outlook.h"
#include "scoring/score.h"

namespace plumblane {
namespace {

using naive::Order;
using naive::Orders;
using naive::Random;

constexpr Measure kScored[] = {Measure::kOnTime,   Measure::kDefect,   Measure::kHandling,
                               Measure::kTransit,  Measure::kDelivery, Measure::kResponse,
                               Measure::kUnderway, Measure::kOverdue};

uint32_t SomeBucket(Measure measure, Random& random) {
  switch (measure) {
    case Measure::kOnTime:
    case Measure::kDefect:
      return static_cast<uint32_t>(random.Below(40));
    case Measure::kUnderway:
    case Measure::kOverdue:
      return static_cast<uint32_t>(random.Below(60));
    default:
      // From under a minute to sixty days, often enough the same few buckets.
      return BucketOf(random.Below(3) == 0 ? random.Below(8) * kMillisPerDay
                                           : random.Below(60 * 24 * 60) * int64_t{60'000});
  }
}

Code SomeCode(Measure measure, Random& random) {
  const bool first = random.Below(3) > 0;
  switch (measure) {
    case Measure::kOnTime:
      return first ? Code::kDelivered : Code::kDeliveredLate;
    case Measure::kDefect:
      return first ? static_cast<Code>(static_cast<int>(Code::kDamaged) + random.Below(7))
                   : Code::kLeft;
    case Measure::kHandling:
      return first ? Code::kShipped : Code::kLeft;
    case Measure::kResponse:
      return Code::kAnswered;
    case Measure::kUnderway:
    case Measure::kOverdue:
      return first ? Code::kClosed : Code::kLost;
    default:
      return first ? Code::kDelivered : Code::kLeft;
  }
}

void Resolve(Order& order, Measure measure, Random& random) {
  order.code = SomeCode(measure, random);
  order.bucket = order.code == Code::kDelivered && measure == Measure::kOnTime
                     ? 0
                     : SomeBucket(measure, random);
  const bool packed = measure == Measure::kUnderway || measure == Measure::kOverdue;
  if (packed && order.code == Code::kLost) {
    const bool never = random.Below(2) == 0;
    const uint32_t closed = never ? kNeverClosed : static_cast<uint32_t>(random.Below(80));
    order.bucket = PackLostThenClosed(order.bucket, closed);
  }
}

bool IsDuration(Measure measure) {
  return measure >= Measure::kHandling && measure <= Measure::kResponse;
}

Orders SomeOrders(Random& random, int most, int most_days = 120) {
  Orders orders;
  const int span = 1 + random.Below(most_days);
  for (const Measure measure : kScored) {
    for (int i = random.Below(most); i > 0; --i) {
      Order order{kToday + 3 - random.Below(span), random.Below(5) == 0, {}, 0};
      if (random.Below(4) > 0) Resolve(order, measure, random);
      if (IsDuration(measure) && random.Below(30) == 0) {
        order.code = Code::kFault;
        order.bucket = 0;
      }
      orders[IndexOf(measure)].push_back(order);
    }
  }
  return orders;
}

Moment SomeMoment(Random& random, int most_days = 30) {
  const int64_t into_day = random.Below(2) == 0 ? 0 : random.Below(86'400'000);
  const Instant now = StartOf(kToday - random.Below(most_days)) + into_day;
  const int64_t settling =
      random.Below(2) == 0 ? random.Below(3) * kMillisPerDay : random.Below(5 * 86'400'000);
  return {now, now - settling, DayOf(now) - random.Below(2)};
}

ScoreRules SomeRules(Random& random) {
  const double half_lives[] = {3, 45, 200};
  const int windows[] = {0, 14, 60};
  return {half_lives[random.Below(3)], windows[random.Below(3)]};
}

Scope SomeScope(Random& random) {
  return random.Below(2) == 0 ? Scope::kCounted : Scope::kWithExcused;
}

void ExpectClose(const std::optional<double>& actual, const std::optional<double>& expected,
                 const std::string& what) {
  ASSERT_EQ(actual.has_value(), expected.has_value()) << what;
  if (!actual) return;
  EXPECT_NEAR(*actual, *expected, 1e-9) << what;
}

void ExpectClose(const RateEstimate& actual, const RateEstimate& expected,
                 const std::string& what) {
  ExpectClose(actual.observed, expected.observed, what + " observed");
  ExpectClose(actual.estimate, expected.estimate, what + " estimate");
  ExpectClose(actual.low, expected.low, what + " low");
  ExpectClose(actual.high, expected.high, what + " high");
  EXPECT_NEAR(actual.weight, expected.weight, 1e-9) << what;
  EXPECT_NEAR(actual.posterior_a, expected.posterior_a, 1e-9) << what;
  EXPECT_NEAR(actual.posterior_b, expected.posterior_b, 1e-9) << what;
  EXPECT_EQ(actual.order_count, expected.order_count) << what;
  EXPECT_EQ(actual.hit_count, expected.hit_count) << what;
}

void ExpectClose(const Priors& actual, const Priors& expected) {
  ASSERT_EQ(actual.late.has_value(), expected.late.has_value());
  ASSERT_EQ(actual.defect.has_value(), expected.defect.has_value());
  EXPECT_NEAR(actual.late.value_or(Prior{}).mean, expected.late.value_or(Prior{}).mean, 1e-9);
  EXPECT_NEAR(actual.defect.value_or(Prior{}).mean, expected.defect.value_or(Prior{}).mean, 1e-9);
  ASSERT_EQ(actual.defect_delay.share.size(), expected.defect_delay.share.size());
  for (size_t day = 0; day < actual.defect_delay.share.size(); ++day) {
    EXPECT_NEAR(actual.defect_delay.share[day], expected.defect_delay.share[day], 1e-9) << day;
  }
}

void ExpectClose(const ScoreEstimate& actual, const ScoreEstimate& expected) {
  ExpectClose(actual.on_time, expected.on_time, "on_time");
  ExpectClose(actual.defect, expected.defect, "defect");
  // Quantiles are buckets, the same ones or not.
  EXPECT_EQ(actual.handling, expected.handling);
  EXPECT_EQ(actual.transit, expected.transit);
  EXPECT_EQ(actual.delivery, expected.delivery);
  EXPECT_EQ(actual.response, expected.response);
  EXPECT_EQ(actual.underway_count, expected.underway_count);
  EXPECT_EQ(actual.overdue_count, expected.overdue_count);
  EXPECT_EQ(actual.excused_count, expected.excused_count);
  EXPECT_EQ(actual.fault_count, expected.fault_count);
}

Priors PriorsOf(const Orders& orders, const Moment& moment, const ScoreRules& rules) {
  const MeasureSet total = naive::CellsOf(orders);
  return PooledPriors(total[Measure::kOnTime], total[Measure::kDefect], moment, rules);
}

TEST(ModelTest, ScoresAgreeWithThePlainAccountOrderByOrder) {
  Random random(2026);
  for (int round = 0; round < 600 && !testing::Test::HasFailure(); ++round) {
    SCOPED_TRACE(round);
    const Orders total = SomeOrders(random, 60);
    const Orders own = SomeOrders(random, round % 2 == 0 ? 6 : 40);
    const Moment moment = SomeMoment(random);
    const ScoreRules rules = SomeRules(random);
    const Scope scope = SomeScope(random);
    const Priors priors = PriorsOf(total, moment, rules);
    ExpectClose(priors, naive::PooledPriors(total, moment, rules));
    ExpectClose(ScoreOf(naive::CellsOf(own), scope, priors, moment, rules),
                naive::ScoreOf(own, scope, priors, moment, rules));
  }
}

// Whatever is not known at the moment is taken away, or becomes something else that is not known.
Orders WithOtherLaterNews(Orders orders, const Moment& moment, Random& random) {
  for (const Measure measure : kScored) {
    for (Order& order : orders[IndexOf(measure)]) {
      if (order.code == Code::kFault || naive::IsKnown(measure, order, moment)) continue;
      order.code.reset();
      Order later = order;
      Resolve(later, measure, random);
      if (!naive::IsKnown(measure, later, moment)) order = later;
    }
  }
  return orders;
}

TEST(ModelTest, AsOfCountsOnlyOutcomesWithinTheWatch) {
  Random random(31);
  int changed = 0;
  for (int round = 0; round < 300; ++round) {
    const Orders orders = SomeOrders(random, 40);
    const Moment moment = SomeMoment(random);
    const ScoreRules rules = SomeRules(random);
    const Scope scope = SomeScope(random);
    const Orders other = WithOtherLaterNews(orders, moment, random);
    const MeasureSet cells = naive::CellsOf(orders), other_cells = naive::CellsOf(other);
    changed += cells.series != other_cells.series;
    const Priors priors = PriorsOf(orders, moment, rules);
    ASSERT_EQ(priors, PriorsOf(other, moment, rules)) << round;
    ASSERT_EQ(ScoreOf(cells, scope, priors, moment, rules),
              ScoreOf(other_cells, scope, priors, moment, rules))
        << round;
  }
  EXPECT_GT(changed, 200);
}

TEST(ModelTest, TheSumOfTwoHalvesScoresAsTheWholeBitForBit) {
  Random random(77);
  for (int round = 0; round < 200; ++round) {
    const Orders whole = SomeOrders(random, 60);
    Orders halves[2];
    for (int i = 0; i < kMeasureCount; ++i) {
      for (const Order& order : whole[i]) halves[random.Below(2)][i].push_back(order);
    }
    MeasureSet sum = naive::CellsOf(halves[0]);
    const MeasureSet second = naive::CellsOf(halves[1]);
    for (int i = 0; i < kMeasureCount; ++i) AddSeries(sum.series[i], second.series[i]);
    const Moment moment = SomeMoment(random);
    const ScoreRules rules = SomeRules(random);
    const Scope scope = SomeScope(random);
    ASSERT_EQ(ScoreOf(sum, scope, {}, moment, rules),
              ScoreOf(naive::CellsOf(whole), scope, {}, moment, rules));
  }
}

// With what was promised, which only outlooks read.
Orders SomeOrdersOfAYear(Random& random, int most) {
  Orders orders = SomeOrders(random, most, 360);
  for (int i = random.Below(most); i > 0; --i) {
    orders[IndexOf(Measure::kMoney)].push_back({kToday + 3 - random.Below(360),
                                                random.Below(5) == 0, Code::kPromised,
                                                static_cast<uint32_t>(random.Below(20))});
  }
  return orders;
}

// Asked at moments in any order, by several half-lives, while cells change.
TEST(ModelTest, SumsKeptFromOtherMomentsChangeNoAnswer) {
  Random random(32);
  std::vector<Measure> measures(std::begin(kScored), std::end(kScored));
  measures.push_back(Measure::kMoney);
  std::map<Measure, size_t> most_kept;
  std::map<Measure, int> kept_before;
  for (int round = 0; round < 60; ++round) {
    Orders orders = SomeOrdersOfAYear(random, 400);
    MeasureSet keeping = naive::CellsOf(orders);
    keeping.kept = std::make_shared<KeptSpans>();
    for (int question = 0; question < 12; ++question) {
      const Orders more = SomeOrdersOfAYear(random, question % 3 == 0 ? 4 : 1);
      for (const Measure measure : measures) {
        Orders one;
        one[IndexOf(measure)] = more[IndexOf(measure)];
        for (const Order& order : one[IndexOf(measure)]) {
          orders[IndexOf(measure)].push_back(order);
          keeping.kept->Forget(measure, order.day);
        }
        AddSeries(keeping[measure], naive::CellsOf(one)[measure]);
      }
      const Moment moment = SomeMoment(random, question % 2 == 0 ? 30 : 250);
      ScoreRules rules = SomeRules(random);
      if (random.Below(4) == 0) rules.claim_window_days = 180;
      const Scope scope = SomeScope(random);
      const double days[] = {7};
      ASSERT_EQ(ScoreOf(keeping, scope, {}, moment, rules, days),
                ScoreOf(naive::CellsOf(orders), scope, {}, moment, rules, days));
      ASSERT_EQ(OutlookOf(keeping, scope, moment, rules),
                OutlookOf(naive::CellsOf(orders), scope, moment, rules));
      const MeasureSet anew = naive::CellsOf(orders);
      ASSERT_EQ(PooledPriors(keeping[Measure::kOnTime], keeping[Measure::kDefect], moment, rules,
                             scope, keeping.KeptIn(scope)),
                PooledPriors(anew[Measure::kOnTime], anew[Measure::kDefect], moment, rules, scope));
      for (const Measure measure : measures) {
        for (const KeptSpans::Rules& by :
             {KeptSpans::Rules{}, KeptSpans::Rules{rules.half_life_days, 0},
              KeptSpans::Rules{rules.half_life_days, rules.claim_window_days}}) {
          const auto sums = keeping.kept->Of(measure, by);
          most_kept[measure] = std::max(most_kept[measure], sums->spans.size());
          kept_before[measure] += sums->before != nullptr;
        }
      }
    }
  }
  for (const Measure measure : measures) {
    EXPECT_GE(most_kept[measure], 2u) << IndexOf(measure);
    EXPECT_GE(kept_before[measure], 20) << IndexOf(measure);
  }
}

// Nothing shown ever leaves its range, however old, young or lopsided the orders are.
TEST(ModelTest, SharesAndTimesKeepTheirOrder) {
  Random random(5);
  for (int round = 0; round < 300; ++round) {
    const Orders orders = SomeOrders(random, 30);
    const Moment moment = SomeMoment(random);
    const ScoreRules rules{.half_life_days = .05 * (1 + random.Below(40))};
    const ScoreEstimate score = ScoreOf(naive::CellsOf(orders), SomeScope(random),
                                        PriorsOf(orders, moment, rules), moment, rules);
    for (const RateEstimate* rate : {&score.on_time, &score.defect}) {
      EXPECT_EQ(rate->estimate.has_value(), rate->low.has_value());
      const double observed = rate->observed.value_or(0);
      EXPECT_TRUE(observed >= 0 && observed <= 1) << round;
      if (!rate->estimate) continue;
      EXPECT_TRUE(0 <= *rate->low && *rate->low <= *rate->high && *rate->high <= 1) << round;
    }
    for (const TimesEstimate* times :
         {&score.handling, &score.transit, &score.delivery, &score.response}) {
      EXPECT_LE(times->finished_count, times->entered_count);
      for (const auto& quantile : {times->median, times->p90}) {
        if (!quantile) continue;
        EXPECT_LE(quantile->low.value_or(0), quantile->seconds);
        EXPECT_GE(quantile->high.value_or(quantile->seconds), quantile->seconds);
      }
    }
  }
}

}  // namespace
}  // namespace plumblane
