#include "scoring/outlook.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "cohorts/buckets.h"
#include "scoring/times.h"

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;

struct PromiseSums final : KeptSums {
  double weight = 0, days = 0;  // of the orders with a promise; days times weight
  size_t bytes() const override { return sizeof *this; }
};

// See AddUp (spans.h). What was promised is known when an order is paid.
class PromiseSum {
 public:
  using Sums = PromiseSums;

  PromiseSum(Scope scope, double half_life_days) : scope_(scope), weights_(half_life_days) {}

  bool MayHold(Day) const { return true; }
  bool Holds(const PromiseSums&) const { return true; }
  void Count(std::span<const Cohort> cohorts, Day anchor) { Add(Make(cohorts, anchor)); }
  PromiseSums Make(std::span<const Cohort> cohorts, Day anchor) const {
    PromiseSums sums;
    for (const Cohort& cohort : cohorts) {
      const double weight = weights_.Of(anchor - cohort.day);
      VisitTallies(cohort.cell, scope_, [&](const Tally& tally) {
        for (const Outcome& outcome : tally.outcomes) {
          if (outcome.code != Code::kPromised) continue;
          sums.weight += weight * static_cast<double>(outcome.count);
          sums.days += weight * static_cast<double>(outcome.count) * outcome.bucket;
        }
      });
    }
    return sums;
  }
  void Add(const PromiseSums& sums) {
    total_.weight += sums.weight;
    total_.days += sums.days;
  }
  void Decay(int32_t days) { Scale(weights_.Of(days)); }
  void Scale(double factor) {
    total_.weight *= factor;
    total_.days *= factor;
  }
  const PromiseSums& Total() const { return total_; }

 private:
  const Scope scope_;
  const DayWeights weights_;
  PromiseSums total_;
};

PromiseSums PromisesOf(const Series& money, Scope scope, const Moment& moment,
                       const ScoreRules& rules, KeptSpans* kept) {
  assert(!kept || scope == Scope::kCounted);
  PromiseSum sum(scope, rules.half_life_days);
  const auto watched = Watched(money, moment);
  if (watched.empty()) return {};
  const Day newest = watched.back().day;
  AddUp(watched, newest, Measure::kMoney, {.half_life_days = rules.half_life_days}, kept, sum);
  sum.Scale(CohortWeights(moment, rules).On(newest));
  return sum.Total();
}

// One pass over the steps of the curve.
void Tabulate(const TimesCurve& times, Outlook& outlook) {
  const std::vector<CurveStep>& steps = times.curve.steps;
  size_t next = 0;
  double survival = 1, area = 0, reached = 0;  // days
  double worth = 0;
  for (size_t day = 0; day < Outlook::kDays; ++day) {
    const double end = static_cast<double>(day) + 0.5;
    const size_t before = next;
    for (;
         next < steps.size() && BucketEndMillis(steps[next].bucket) <=
                                    static_cast<int64_t>(end * static_cast<double>(kMillisPerDay));
         ++next) {
      // May lie a little before the end of the day before; then that much is taken back.
      const double at = BucketSeconds(steps[next].bucket) / kSecondsPerDay;
      area += survival * (at - reached);
      reached = at;
      survival = steps[next].survival;
    }
    area += survival * (end - reached);
    reached = end;
    outlook.not_arrived[day] = survival;
    outlook.days_by[day] = area;
    if (next != before) {
      const auto share = steps[next - 1].Share();
      worth = share ? share->a + share->b : 0;
    }
    outlook.worth[day] = worth;
  }
}

size_t At(int promised) { return static_cast<size_t>(std::min(promised, kLongestPromise)); }

// Of days from `from` to the end, those of orders that arrive between; `from` none = payment.
double DaysOfArrivals(const Outlook& outlook, std::optional<size_t> from, size_t to, double lost) {
  assert(outlook.orders > 0);
  const double start = from ? static_cast<double>(*from) + 0.5 : 0;
  const double length = static_cast<double>(to) + 0.5 - start;
  const double area = outlook.days_by[to] - (from ? outlook.days_by[*from] : 0);
  return std::max(0.0, area - length * std::min(outlook.not_arrived[to], lost));
}

}  // namespace

Outlook OutlookOf(const MeasureSet& measures, Scope scope, const Moment& moment,
                  const ScoreRules& rules) {
  Outlook outlook;
  KeptSpans* const kept = measures.KeptIn(scope);
  const TimesCurve times =
      TimesCurveOf(Measure::kDelivery, measures[Measure::kDelivery], scope, moment, rules, kept);
  outlook.orders = times.entered_weight;
  Tabulate(times, outlook);
  if (times.longest_watch_millis) {
    outlook.followed_days =
        static_cast<double>(*times.longest_watch_millis) / static_cast<double>(kMillisPerDay);
  }
  const DefectEstimate defects =
      DefectsOf(measures[Measure::kDefect], scope, {}, {}, moment, rules, kept);
  if (defects.kinds) {
    double sum = 0;
    for (const double share : defects.kinds->share) sum += share;
    if (sum > 0) {
      outlook.defects = defects.hit_weight;
      for (size_t i = 0; i < outlook.kinds.size(); ++i) {
        outlook.kinds[i] = outlook.defects * defects.kinds->share[i] / sum;
      }
    }
  }
  const PromiseSums promises = PromisesOf(measures[Measure::kMoney], scope, moment, rules, kept);
  outlook.promised = promises.weight;
  outlook.promised_days = promises.days;
  const TimesCurve response =
      TimesCurveOf(Measure::kResponse, measures[Measure::kResponse], scope, moment, rules, kept);
  outlook.disputes = response.entered_weight;
  if (outlook.disputes > 0) {
    outlook.answer_days =
        response.curve.AreaBetween(0, kLongestAnswerDays * kSecondsPerDay, BucketSeconds) /
        kSecondsPerDay;
  }
  return outlook;
}

void MixInto(Outlook& sum, const Outlook& other, double weight) {
  const double orders = other.orders * weight;
  const double total = sum.orders + orders;
  if (total > 0) {
    const double mine = sum.orders / total, theirs = orders / total;
    for (size_t day = 0; day < Outlook::kDays; ++day) {
      sum.not_arrived[day] = mine * sum.not_arrived[day] + theirs * other.not_arrived[day];
      sum.days_by[day] = mine * sum.days_by[day] + theirs * other.days_by[day];
    }
    sum.followed_days = std::max(sum.followed_days, other.followed_days);
  }
  MixInto(static_cast<Mishaps&>(sum), static_cast<const Mishaps&>(other), weight);
  sum.promised += weight * other.promised;
  sum.promised_days += weight * other.promised_days;
}

void MixInto(Mishaps& sum, const Mishaps& other, double weight) {
  sum.orders += other.orders * weight;
  const double disputes = other.disputes * weight;
  if (disputes > 0) {
    sum.answer_days =
        (sum.answer_days * sum.disputes + other.answer_days * disputes) / (sum.disputes + disputes);
  }
  sum.disputes += disputes;
  sum.defects += weight * other.defects;
  for (size_t i = 0; i < sum.kinds.size(); ++i) sum.kinds[i] += weight * other.kinds[i];
}

double WaitingDays(const Outlook& outlook, int promised, double lost) {
  return DaysOfArrivals(outlook, std::nullopt, At(promised) + kLostAfterDays, lost);
}

double LateDays(const Outlook& outlook, int promised, double lost) {
  return DaysOfArrivals(outlook, At(promised), At(promised) + kLostAfterDays, lost);
}

std::optional<Beta> LateByArrivals(const Outlook& outlook, int promised) {
  const size_t day = At(promised);
  const double worth = outlook.worth[day];
  // What the curve says beyond what was followed is only the want of news.
  if (worth < kFewestAtRisk * (1 - 1e-9) || outlook.followed_days < promised + 0.5) {
    return std::nullopt;
  }
  return Beta{worth * outlook.not_arrived[day], worth * (1 - outlook.not_arrived[day])};
}

}  // namespace plumblane
