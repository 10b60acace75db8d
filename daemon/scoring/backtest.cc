#include "scoring/backtest.h"

#include <algorithm>
#include <cassert>
#include <tuple>
#include <utility>

#include "scoring/decay.h"
#include "scoring/fleet_prior.h"
#include "scoring/rate.h"

namespace plumblane {
namespace {

struct DueOrders {
  Day day;
  size_t pair = 0;
  double orders = 0, late = 0;
};

// The last cohort known lies this many days before the one that is forecast.
int LagDays(const BacktestRules& rules) {
  assert(rules.days_ahead >= 0 && rules.settle_delay_millis >= 0);
  const int64_t settle_days = (rules.settle_delay_millis + kMillisPerDay - 1) / kMillisPerDay;
  return rules.days_ahead + 1 + static_cast<int>(settle_days);
}

// One way of weighing past cohorts: a half-life, all alike, or the last kLastDays.
class Weighing {
 public:
  Weighing(ForecastKind kind, double half_life_days, size_t pair_count, int span_days)
      : kind_(kind), half_life_days_(half_life_days), sums_(pair_count), priors_(pair_count) {
    if (kind != ForecastKind::kHalfLife) return;
    for (int age = 0; age <= span_days; ++age) fading_.push_back(DecayWeight(age, half_life_days));
  }

  ForecastKind kind() const { return kind_; }
  double half_life_days() const { return half_life_days_; }

  void Learn(const DueOrders& due) {
    Sums& sums = sums_[due.pair];
    sums.of = At(sums, due.day);
    sums.day = due.day;
    sums.of.w1 += due.orders;
    sums.of.w2 += due.orders;
    sums.of.s += due.late;
  }

  // Of the last days alone, whose weights are whole: what drops out of the window.
  void Forget(const DueOrders& due) {
    WeightedSums& sums = sums_[due.pair].of;
    sums.w1 -= due.orders;
    sums.w2 -= due.orders;
    sums.s -= due.late;
  }

  void FitPrior(std::span<const Pair> pairs, Day today) {
    std::vector<RateRecord> records;
    WeightedSums total;
    for (size_t i = 0; i < pairs.size(); ++i) {
      const WeightedSums sums = At(sums_[i], today);
      if (sums.w1 == 0) continue;
      total.w1 += sums.w1;
      total.s += sums.s;
      records.push_back({pairs[i], sums});
    }
    fleet_ = FleetPrior::Fit(std::move(records));
    pooled_ = {PooledMean(total.s, total.w1), kPooledStrength};
    std::fill(priors_.begin(), priors_.end(), std::nullopt);
  }

  // The rate of late orders, with the prior last fitted.
  double Rate(std::span<const Pair> pairs, size_t pair, Day today) {
    std::optional<Prior>& prior = priors_[pair];
    if (!prior) prior = fleet_ ? fleet_->PriorOf(pairs[pair]) : pooled_;
    const WeightedSums sums = At(sums_[pair], today);
    return PosteriorOf(*prior, sums.s, sums.w1).Mean();
  }

  double RateAlone(size_t pair, double mean) const {
    const WeightedSums& sums = sums_[pair].of;
    return (sums.s + mean) / (sums.w1 + 1);
  }

 private:
  struct Sums {
    Day day;  // of the weights: orders of this day weigh 1
    WeightedSums of;
  };

  WeightedSums At(const Sums& sums, Day today) const {
    if (fading_.empty() || sums.of.w1 == 0) return sums.of;
    const double fading = fading_[static_cast<size_t>(today - sums.day)];
    return {sums.of.w1 * fading, sums.of.w2 * fading * fading, sums.of.s * fading};
  }

  ForecastKind kind_;
  double half_life_days_;
  std::vector<double> fading_;  // by age in days; empty: none
  std::vector<Sums> sums_;      // by pair
  std::optional<FleetPrior> fleet_;
  Prior pooled_;
  std::vector<std::optional<Prior>> priors_;  // by pair, as far as asked for
};

// What one way of forecasting lost.
struct Losses {
  ForecasterResult result;
  std::vector<double> by_day;  // log losses, along the days forecast
  double log_loss = 0, squares = 0;

  void Judge(double rate, const DueOrders& due) {
    const double on_time = due.orders - due.late;
    const Forecast late{rate, true}, in_time{rate, false};
    const double loss = due.late * LogLoss(late) + on_time * LogLoss(in_time);
    by_day.back() += loss;
    log_loss += loss;
    squares += due.late * SquaredError(late) + on_time * SquaredError(in_time);
  }
};

struct ForecastDay {
  Day day;
  int64_t order_count = 0;
};

class Replay {
 public:
  Replay(std::span<const OnTimeHistory> histories, const Moment& moment,
         const BacktestRules& rules);
  std::optional<BacktestResult> Run();

 private:
  void Advance(Day known);
  void Judge(const DueOrders& due, Day today);
  BacktestResult Result();
  std::optional<LossDifference> Compare(const Losses& losses, const Losses& baseline) const;

  const BacktestRules& rules_;
  int lag_;
  std::vector<Pair> pairs_;     // ascending
  std::vector<DueOrders> due_;  // ascending by (day, pair)
  std::vector<Weighing> weighings_;
  size_t learnt_ = 0, dropped_ = 0;  // positions in due_
  double orders_ = 0, late_ = 0;     // of what is learnt
  std::vector<Losses> losses_;       // along weighings_, then the other three kinds
  std::vector<ForecastDay> days_;
  BacktestResult result_;
};

Replay::Replay(std::span<const OnTimeHistory> histories, const Moment& moment,
               const BacktestRules& rules)
    : rules_(rules), lag_(LagDays(rules)) {
  assert(rules.first_days > 0);
  std::vector<const OnTimeHistory*> sorted;
  for (const OnTimeHistory& history : histories) sorted.push_back(&history);
  std::sort(sorted.begin(), sorted.end(),
            [](const auto* x, const auto* y) { return x->pair < y->pair; });
  for (const OnTimeHistory* history : sorted) {
    assert(history->pair != Pair{} && (pairs_.empty() || pairs_.back() < history->pair));
    pairs_.push_back(history->pair);
    for (const Cohort& cohort : Watched(history->on_time, moment)) {
      const LateCount count = CountLate(cohort.cell, Scope::kCounted);
      if (count.order_count == 0) continue;
      due_.push_back({cohort.day, pairs_.size() - 1, static_cast<double>(count.order_count),
                      static_cast<double>(count.late_count)});
    }
  }
  std::sort(due_.begin(), due_.end(), [](const DueOrders& x, const DueOrders& y) {
    return std::tie(x.day, x.pair) < std::tie(y.day, y.pair);
  });
  const int span = due_.empty() ? 0 : due_.back().day - due_.front().day;
  std::vector<double> half_lives = rules.half_lives_days;
  half_lives.push_back(rules.setting_days);
  std::sort(half_lives.begin(), half_lives.end());
  half_lives.erase(std::unique(half_lives.begin(), half_lives.end()), half_lives.end());
  const auto weigh = [&](ForecastKind kind, double half_life) {
    weighings_.emplace_back(kind, half_life, pairs_.size(), span);
  };
  for (const double half_life : half_lives) weigh(ForecastKind::kHalfLife, half_life);
  weigh(ForecastKind::kLifetime, 0);
  weigh(ForecastKind::kLastDays, 0);
  for (const Weighing& weighing : weighings_) {
    const bool is_setting = weighing.kind() == ForecastKind::kHalfLife &&
                            weighing.half_life_days() == rules.setting_days;
    losses_.emplace_back().result = {.kind = weighing.kind(),
                                     .half_life_days = weighing.half_life_days(),
                                     .is_setting = is_setting};
  }
  for (const ForecastKind kind :
       {ForecastKind::kLifetimeAlone, ForecastKind::kLastDaysAlone, ForecastKind::kAllPairs}) {
    losses_.emplace_back().result.kind = kind;
  }
}

void Replay::Advance(Day known) {
  for (; learnt_ < due_.size() && due_[learnt_].day <= known; ++learnt_) {
    for (Weighing& weighing : weighings_) weighing.Learn(due_[learnt_]);
    orders_ += due_[learnt_].orders;
    late_ += due_[learnt_].late;
  }
  Weighing& last_days = weighings_.back();
  for (; dropped_ < learnt_ && due_[dropped_].day <= known - kLastDays; ++dropped_) {
    last_days.Forget(due_[dropped_]);
  }
}

void Replay::Judge(const DueOrders& due, Day today) {
  const double mean = PooledMean(late_, orders_);
  auto losses = losses_.begin();
  for (Weighing& weighing : weighings_) {
    (losses++)->Judge(weighing.Rate(pairs_, due.pair, today), due);
  }
  const Weighing &lifetime = *(weighings_.end() - 2), &last_days = weighings_.back();
  (losses++)->Judge(lifetime.RateAlone(due.pair, mean), due);
  (losses++)->Judge(last_days.RateAlone(due.pair, mean), due);
  (losses++)->Judge(mean, due);
}

std::optional<BacktestResult> Replay::Run() {
  if (due_.empty()) return std::nullopt;
  const Day first = due_.front().day + LearntDays(rules_);
  int block = -1;
  for (const DueOrders& due : due_) {
    if (due.day < first) continue;
    const Day today = due.day - rules_.days_ahead;
    if (days_.empty() || days_.back().day != due.day) {
      Advance(due.day - lag_);
      days_.push_back({due.day});
      for (Losses& losses : losses_) losses.by_day.push_back(0);
      if (due.day.number / kBlockDays != block) {
        block = due.day.number / kBlockDays;
        for (Weighing& weighing : weighings_) weighing.FitPrior(pairs_, today);
      }
    }
    Judge(due, today);
    days_.back().order_count += static_cast<int64_t>(due.orders);
    result_.order_count += static_cast<int64_t>(due.orders);
    result_.late_count += static_cast<int64_t>(due.late);
  }
  if (days_.empty()) return std::nullopt;
  return Result();
}

std::optional<LossDifference> Replay::Compare(const Losses& losses, const Losses& baseline) const {
  std::vector<JudgedLoss> judged;
  for (size_t i = 0; i < days_.size(); ++i) {
    judged.push_back({days_[i].day, losses.by_day[i], baseline.by_day[i], days_[i].order_count});
  }
  return CompareLosses(judged);
}

BacktestResult Replay::Result() {
  const auto orders = static_cast<double>(result_.order_count);
  const Losses& lifetime = losses_[weighings_.size() - 2];
  const Losses& setting = *std::find_if(losses_.begin(), losses_.end(), [](const Losses& losses) {
    return losses.result.is_setting;
  });
  for (const Losses& losses : losses_) {
    ForecasterResult result = losses.result;
    result.log_loss = losses.log_loss / orders;
    result.brier = losses.squares / orders;
    result.from_lifetime = Compare(losses, lifetime);
    result.from_setting = Compare(losses, setting);
    result_.forecasters.push_back(result);
  }
  std::stable_sort(result_.forecasters.begin(), result_.forecasters.end(),
                   [](const auto& x, const auto& y) { return x.log_loss < y.log_loss; });
  result_.first_due = days_.front().day;
  result_.last_due = days_.back().day;
  return result_;
}

}  // namespace

int LearntDays(const BacktestRules& rules) { return std::max(rules.first_days, LagDays(rules)); }

std::optional<BacktestResult> Backtest(std::span<const OnTimeHistory> histories,
                                       const Moment& moment, const BacktestRules& rules) {
  return Replay(histories, moment, rules).Run();
}

}  // namespace plumblane
