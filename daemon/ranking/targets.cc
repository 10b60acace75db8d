#include "ranking/targets.h"

#include <optional>

namespace plumblane {
namespace {

constexpr double kSecondsPerDay = 86'400;

// Of a figure that should lie at or below the target.
Standing AtMost(double target, double estimate, std::optional<double> low,
                std::optional<double> high) {
  if (estimate <= target) return high && *high <= target ? Standing::kMet : Standing::kMetNotSure;
  return low && *low > target ? Standing::kMissed : Standing::kMissedNotSure;
}

std::optional<double> Negated(std::optional<double> x) {
  return x ? std::optional(-*x) : std::nullopt;
}

bool TooFew(const RateEstimate& rate) {
  return !rate.estimate || static_cast<double>(rate.order_count) < kFewestAtRisk;
}

Standing NineInTen(double days, const TimesEstimate& times) {
  const double target = days * kSecondsPerDay;
  if (times.p90) return AtMost(target, times.p90->seconds, times.p90->low, times.p90->high);
  const bool followed = times.longest_watch && *times.longest_watch > target &&
                        static_cast<double>(times.entered_count) >= kFewestAtRisk;
  return followed && !times.p90_too_few ? Standing::kMissedNotSure : Standing::kTooFew;
}

}  // namespace

std::vector<TargetReading> ReadTargets(const Targets& targets, const ScoreEstimate& score) {
  std::vector<TargetReading> readings;
  if (targets.on_time) {
    const RateEstimate& rate = score.on_time;
    // At least: the same with all signs turned.
    readings.push_back({Measure::kOnTime, *targets.on_time,
                        TooFew(rate) ? Standing::kTooFew
                                     : AtMost(-*targets.on_time, -*rate.estimate,
                                              Negated(rate.high), Negated(rate.low))});
  }
  if (targets.defect) {
    const RateEstimate& rate = score.defect;
    readings.push_back({Measure::kDefect, *targets.defect,
                        TooFew(rate)
                            ? Standing::kTooFew
                            : AtMost(*targets.defect, *rate.estimate, rate.low, rate.high)});
  }
  if (targets.delivery_days) {
    readings.push_back({Measure::kDelivery, *targets.delivery_days,
                        NineInTen(*targets.delivery_days, score.delivery)});
  }
  if (targets.response_days) {
    readings.push_back({Measure::kResponse, *targets.response_days,
                        NineInTen(*targets.response_days, score.response)});
  }
  return readings;
}

}  // namespace plumblane
