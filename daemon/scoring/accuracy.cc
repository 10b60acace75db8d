#include "scoring/accuracy.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <map>

#include "scoring/moments.h"

namespace plumblane {
namespace {

constexpr double kSurest = 1e-4;

struct Group {
  double count = 0, forecast = 0, hits = 0;  // sums
};

double Square(double x) { return x * x; }

}  // namespace

double LogLoss(const Forecast& forecast) {
  const double p = std::clamp(forecast.probability, kSurest, 1 - kSurest);
  return forecast.happened ? -std::log(p) : -std::log1p(-p);
}

double SquaredError(const Forecast& forecast) {
  return Square(forecast.probability - (forecast.happened ? 1 : 0));
}

std::optional<double> MeanLogLoss(std::span<const Forecast> forecasts) {
  if (forecasts.empty()) return std::nullopt;
  double sum = 0;
  for (const Forecast& forecast : forecasts) sum += LogLoss(forecast);
  return sum / static_cast<double>(forecasts.size());
}

std::optional<BrierParts> BrierOf(std::span<const Forecast> forecasts, std::optional<int> bins) {
  assert(!bins || *bins > 0);
  if (forecasts.empty()) return std::nullopt;
  const auto count = static_cast<double>(forecasts.size());
  BrierParts parts;
  std::map<double, Group> groups;
  double hits = 0;
  for (const Forecast& forecast : forecasts) {
    const double p = forecast.probability, happened = forecast.happened ? 1 : 0;
    parts.score += SquaredError(forecast) / count;
    hits += happened;
    Group& group = groups[bins ? std::min(std::floor(p * *bins), *bins - 1.0) : p];
    group.count += 1;
    group.forecast += p;
    group.hits += happened;
  }
  const double share = hits / count;
  for (const auto& [key, group] : groups) {
    const double of_group = group.hits / group.count;
    const double forecast = bins ? group.forecast / group.count : key;
    parts.reliability += group.count / count * Square(forecast - of_group);
    parts.resolution += group.count / count * Square(of_group - share);
  }
  parts.uncertainty = share * (1 - share);
  parts.remainder = parts.score - (parts.reliability - parts.resolution + parts.uncertainty);
  if (parts.uncertainty > 0) parts.skill = 1 - parts.score / parts.uncertainty;
  return parts;
}

std::optional<LossDifference> CompareLosses(std::span<const JudgedLoss> losses, int block_days) {
  assert(block_days > 0);
  std::map<int32_t, double> blocks;
  LossDifference difference;
  for (const JudgedLoss& judged : losses) {
    assert(judged.day.number >= 0 && judged.order_count > 0);
    blocks[judged.day.number / block_days] += judged.loss - judged.baseline_loss;
    difference.order_count += judged.order_count;
  }
  difference.block_count = static_cast<int>(blocks.size());
  if (blocks.size() < 2) return std::nullopt;
  WeightedMoments sums;
  for (const auto& [block, sum] : blocks) sums.Add(sum);
  const auto block_count = static_cast<double>(blocks.size());
  const auto orders = static_cast<double>(difference.order_count);
  difference.mean = sums.Mean() * block_count / orders;
  difference.standard_error = std::sqrt(*sums.SampleVariance() * block_count) / orders;
  return difference;
}

}  // namespace plumblane
