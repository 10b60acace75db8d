#include "scoring/naive_model.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "cohorts/buckets.h"

namespace plumblane::naive {
namespace {

constexpr double kZ = 1.959963984540054;

int64_t WatchOf(const Order& order, const Moment& moment) {
  return moment.horizon.millis - (order.day.number + int64_t{1}) * 86'400'000;
}

bool IsRead(const Order& order, Scope scope, const Moment& moment) {
  if (order.code == Code::kFault || WatchOf(order, moment) < 0) return false;
  return scope == Scope::kWithExcused || !order.excused;
}

double WeightOf(const Order& order, const Moment& moment, const ScoreRules& rules) {
  const double age =
      std::floor(static_cast<double>(moment.now.millis) / 86'400'000) - order.day.number;
  return std::pow(0.5, age / rules.half_life_days);
}

void AddPosterior(RateEstimate& rate, const std::optional<Prior>& prior, double hits) {
  if (!prior) return;
  if (hits <= 1e-9 * rate.weight) hits = 0;
  rate.posterior_a = std::max(.05, prior->mean * prior->strength) + hits;
  rate.posterior_b =
      std::max(.05, (1 - prior->mean) * prior->strength) + std::max(rate.weight - hits, 0.0);
  if (rate.order_count == 0) return;
  rate.estimate = rate.posterior_a / (rate.posterior_a + rate.posterior_b);
  rate.low = BetaQuantile(rate.posterior_a, rate.posterior_b, .025);
  rate.high = BetaQuantile(rate.posterior_a, rate.posterior_b, .975);
}

RateEstimate OnTime(const std::vector<Order>& orders, Scope scope,
                    const std::optional<Prior>& prior, const Moment& moment,
                    const ScoreRules& rules) {
  RateEstimate rate;
  double late = 0;
  for (const Order& order : orders) {
    if (!IsRead(order, scope, moment)) continue;
    const double weight = WeightOf(order, moment, rules);
    ++rate.order_count;
    rate.weight += weight;
    if (order.code == Code::kDelivered) continue;
    ++rate.hit_count;
    late += weight;
  }
  if (rate.order_count > 0) rate.observed = 1 - late / rate.weight;
  AddPosterior(rate, prior, late);
  if (rate.estimate) {
    rate.estimate = 1 - *rate.estimate;
    rate.low = 1 - std::exchange(*rate.high, 1 - *rate.low);
  }
  return rate;
}

int DaysOver(const Order& order, const Moment& moment) {
  return static_cast<int>(WatchOf(order, moment) / 86'400'000);
}

std::vector<Life> DefectLives(const std::vector<Order>& orders, Scope scope, const Moment& moment,
                              const ScoreRules& rules) {
  std::vector<Life> lives;
  for (const Order& order : orders) {
    if (!IsRead(order, scope, moment)) continue;
    Life life{DaysOver(order, moment), false, WeightOf(order, moment, rules)};
    if (IsKnown(Measure::kDefect, order, moment)) {
      life.last = static_cast<int>(order.bucket);
      life.event = order.code != Code::kLeft;
    }
    lives.push_back(life);
  }
  return lives;
}

double ReachedBy(const std::vector<double>& share, int days, int window) {
  const int day = std::min(days, window);
  if (share.empty() || share[window] == 0) return std::min(1.0, (day + 1.0) / (window + 1.0));
  return share[day] / share[window];
}

RateEstimate Defects(const std::vector<Order>& orders, Scope scope, const Priors& priors,
                     const Moment& moment, const ScoreRules& rules) {
  const int window = rules.claim_window_days;
  RateEstimate rate;
  double hits = 0;
  for (const Order& order : orders) {
    if (!IsRead(order, scope, moment)) continue;
    const double weight = WeightOf(order, moment, rules);
    ++rate.order_count;
    rate.weight += weight * ReachedBy(priors.defect_delay.share, DaysOver(order, moment), window);
    const bool hit = order.code && IsDefect(*order.code) &&
                     IsKnown(Measure::kDefect, order, moment) &&
                     order.bucket <= static_cast<uint32_t>(window);
    if (!hit) continue;
    ++rate.hit_count;
    hits += weight;
  }
  if (rate.order_count > 0) {
    rate.observed = 1 - CurveAt(DefectLives(orders, scope, moment, rules), window).survival;
  }
  AddPosterior(rate, priors.defect, hits);
  return rate;
}

// First bucket at which the curve, or a limit of it, has come down to 1 - q. Walks the buckets that
// can make a difference only: those in which somebody leaves.
TimesEstimate Times(Measure measure, const std::vector<Order>& orders, Scope scope,
                    const Moment& moment, const ScoreRules& rules) {
  TimesEstimate times;
  std::vector<Life> lives;
  for (const Order& order : orders) {
    if (!IsRead(order, scope, moment)) continue;
    ++times.entered_count;
    Life life{-1, false, WeightOf(order, moment, rules)};
    int64_t followed = WatchOf(order, moment);
    if (IsKnown(measure, order, moment)) {
      life.last = static_cast<int>(order.bucket);
      life.event = order.code != Code::kLeft;
      if (life.event) ++times.finished_count;
      followed = BucketEndMillis(order.bucket);
    } else {
      while (life.last + 1 <= static_cast<int>(kLastBucket) &&
             BucketEndMillis(static_cast<uint32_t>(life.last + 1)) <= WatchOf(order, moment)) {
        ++life.last;
      }
    }
    times.longest_watch =
        std::max(times.longest_watch.value_or(0), static_cast<double>(followed) / 1000);
    lives.push_back(life);
  }
  std::vector<int> ends;
  for (const Life& life : lives) {
    if (life.event) ends.push_back(life.last);
  }
  std::sort(ends.begin(), ends.end());
  for (const double q : {.5, .9}) {
    const double reached = q * (1 - 1e-12);
    std::optional<double> at, low, high;
    for (const int end : ends) {
      const double seconds = BucketSeconds(static_cast<uint32_t>(end));
      const Point point = CurveAt(lives, end);
      if (!at && 1 - point.survival >= reached) at = seconds;
      if (!low && point.limits && 1 - point.limits->low >= reached) low = seconds;
      if (!high && point.limits && 1 - point.limits->high >= reached) high = seconds;
    }
    if (at) (q == .5 ? times.median : times.p90) = TimesEstimate::Quantile{*at, low, high};
  }
  times.median_reached = times.median.has_value();
  return times;
}

int64_t There(Measure measure, const std::vector<Order>& orders, Scope scope,
              const Moment& moment) {
  int64_t there = 0;
  for (const Order& order : orders) {
    if (order.code == Code::kFault || (order.excused && scope == Scope::kCounted)) continue;
    if (order.day > moment.underway_limit) continue;
    if (measure == Measure::kOverdue && EndOf(order.day) > moment.horizon) continue;
    if (!IsKnown(measure, order, moment)) ++there;
  }
  return there;
}

}  // namespace

bool IsKnown(Measure measure, const Order& order, const Moment& moment) {
  if (!order.code || order.code == Code::kFault) return false;
  const int64_t watch = WatchOf(order, moment);
  const auto closed_by_limit = [&](uint32_t days) {
    return order.day.number + int64_t{days} <= moment.underway_limit.number;
  };
  switch (measure) {
    case Measure::kOnTime:
      return order.code == Code::kDelivered && watch >= 0;
    case Measure::kDefect:
      return watch >= int64_t{order.bucket} * 86'400'000 && watch >= 0;
    case Measure::kUnderway:
    case Measure::kOverdue:
      if (order.code == Code::kClosed) return closed_by_limit(order.bucket);
      if ((order.bucket & 0xFFFF) != kNeverClosed && closed_by_limit(order.bucket & 0xFFFF)) {
        return true;
      }
      return EndOf(order.day + static_cast<int32_t>(order.bucket >> 16)) <= moment.horizon;
    case Measure::kMoney:
    case Measure::kExposure:
      return false;
    default:
      return BucketEndMillis(order.bucket) <= watch;
  }
}

MeasureSet CellsOf(const Orders& orders) {
  MeasureSet measures;
  for (int i = 0; i < kMeasureCount; ++i) {
    for (const Order& order : orders[i]) {
      Cohort cohort{order.day, {}};
      Tally& tally = order.excused ? cohort.cell.excused : cohort.cell.counted;
      tally.entered = order.code == Code::kFault ? 0 : 1;
      if (order.code) tally.Add(*order.code, order.bucket, 1);
      AddSeries(measures.series[i], {cohort});
    }
  }
  return measures;
}

Priors PooledPriors(const Orders& total, const Moment& moment, const ScoreRules& rules) {
  const auto& on_time = total[IndexOf(Measure::kOnTime)];
  const auto& defect = total[IndexOf(Measure::kDefect)];
  Priors priors;
  const RateEstimate late = OnTime(on_time, Scope::kCounted, {}, moment, rules);
  if (late.order_count > 0) {
    const double hits = late.weight > 0 ? (1 - *late.observed) * late.weight : 0;
    priors.late = Prior{(hits + 0.5) / (late.weight + 1), 4};
  }
  const std::vector<Life> lives = DefectLives(defect, Scope::kCounted, moment, rules);
  if (lives.empty()) return priors;
  for (int day = 0; day <= rules.claim_window_days; ++day) {
    priors.defect_delay.share.push_back(1 - CurveAt(lives, day).survival);
  }
  const double reached = Defects(defect, Scope::kCounted, priors, moment, rules).weight;
  double hits = 0;
  for (const Life& life : lives) {
    if (life.event && life.last <= rules.claim_window_days) hits += life.weight;
  }
  priors.defect = Prior{std::min(1.0, (hits + 0.5) / (reached + 1)), 4};
  return priors;
}

ScoreEstimate ScoreOf(const Orders& orders, Scope scope, const Priors& priors, const Moment& moment,
                      const ScoreRules& rules) {
  const auto of = [&](Measure measure) -> const auto& { return orders[IndexOf(measure)]; };
  const auto times = [&](Measure measure) {
    return Times(measure, of(measure), scope, moment, rules);
  };
  ScoreEstimate score;
  score.on_time = OnTime(of(Measure::kOnTime), scope, priors.late, moment, rules);
  score.defect = Defects(of(Measure::kDefect), scope, priors, moment, rules);
  score.handling = times(Measure::kHandling);
  score.transit = times(Measure::kTransit);
  score.delivery = times(Measure::kDelivery);
  score.response = times(Measure::kResponse);
  score.underway_count = There(Measure::kUnderway, of(Measure::kUnderway), scope, moment);
  score.overdue_count = There(Measure::kOverdue, of(Measure::kOverdue), scope, moment);
  for (const Order& order : of(Measure::kOnTime)) {
    if (order.excused && IsRead(order, Scope::kWithExcused, moment)) ++score.excused_count;
  }
  for (const auto& list : orders) {
    for (const Order& order : list) {
      if (order.code == Code::kFault && order.day <= DayOf(moment.now)) ++score.fault_count;
    }
  }
  return score;
}

Point CurveAt(const std::vector<Life>& lives, int bucket) {
  double survival = 1;
  std::vector<double> influence(lives.size(), 0);
  bool any_event = false, anybody_left = true;
  for (int u = 0; u <= bucket && anybody_left; ++u) {
    double at_risk = 0, events = 0;
    int survivors = 0, dead = 0;
    for (const Life& life : lives) {
      if (life.last < u) continue;
      at_risk += life.weight;
      const bool dies = life.last == u && life.event;
      if (dies) events += life.weight;
      ++(dies ? dead : survivors);
    }
    if (dead == 0) continue;
    any_event = true;
    anybody_left = survivors > 0;
    survival = anybody_left ? survival * (1 - events / at_risk) : 0;
    for (size_t i = 0; i < lives.size() && anybody_left; ++i) {
      if (lives[i].last < u) continue;
      const bool dies = lives[i].last == u && lives[i].event;
      influence[i] -= ((dies ? 1 : 0) - events / at_risk) / (at_risk - events);
    }
  }
  if (!any_event || !anybody_left) return {survival, {}};
  double variance = 0;
  for (size_t i = 0; i < lives.size(); ++i) {
    variance += std::pow(lives[i].weight * influence[i], 2);
  }
  const double sd = survival * std::sqrt(variance);
  const double exponent = kZ * sd / (survival * std::fabs(std::log(survival)));
  return {survival, Interval{std::pow(survival, std::exp(exponent)),
                             std::pow(survival, std::exp(-exponent))}};
}

double BetaCdf(double a, double b, double x) {
  if (x <= 0 || x >= 1) return x <= 0 ? 0 : 1;
  if (x > (a + 1) / (a + b + 2)) return 1 - BetaCdf(b, a, 1 - x);
  const double front = std::exp(std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) +
                                a * std::log(x) + b * std::log1p(-x));
  double c = 1, d = 1 / (1 - (a + b) * x / (a + 1)), fraction = d;
  for (int m = 1; m < 10'000; ++m) {
    const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / (1 + even * d);
    c = 1 + even / c;
    fraction *= d * c;
    const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / (1 + odd * d);
    c = 1 + odd / c;
    fraction *= d * c;
    if (std::fabs(d * c - 1) < 1e-15) break;
  }
  return front * fraction / a;
}

double BetaQuantile(double a, double b, double p) {
  double low = 0, high = 1;
  for (int i = 0; i < 60; ++i) {
    const double middle = (low + high) / 2;
    (BetaCdf(a, b, middle) < p ? low : high) = middle;
  }
  return (low + high) / 2;
}

}  // namespace plumblane::naive
