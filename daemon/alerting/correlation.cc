#include "alerting/correlation.h"

#include <algorithm>
#include <cstddef>

namespace plumblane {
namespace {

constexpr int kGroupDays = 28;
constexpr double kMostUsed = .5;

}  // namespace

void DayCorrelation::Add(std::span<const DayCount> days) {
  for (size_t from = 0; from < days.size();) {
    size_t to = from;
    const int group = days[from].day.number / kGroupDays;
    while (to < days.size() && days[to].day.number / kGroupDays == group) ++to;
    AddGroup(days.subspan(from, to - from));
    from = to;
  }
}

void DayCorrelation::AddGroup(std::span<const DayCount> days) {
  double orders = 0, hits = 0;
  for (const DayCount& day : days) {
    orders += static_cast<double>(day.orders);
    hits += static_cast<double>(day.hits);
  }
  if (orders < 2) return;
  const double share = hits / orders;
  const double variance = share * (1 - share) * orders / (orders - 1);
  double between = 0, room = 0, chance = 0;
  for (const DayCount& day : days) {
    if (day.orders == 0) continue;
    const auto n = static_cast<double>(day.orders);
    const double off = static_cast<double>(day.hits) / n - share;
    between += n * off * off;
    room += n * (1 - n / orders);
    chance += 1 - n / orders;
  }
  excess_ += between - variance * chance;
  room_ += variance * (room - chance);
}

double DayCorrelation::Estimate() const { return room_ > 0 ? excess_ / room_ : 0; }

double DayCorrelation::Used() const {
  const double estimate = Estimate();
  return estimate > kNegligibleCorrelation ? std::min(estimate, kMostUsed) : 0;
}

}  // namespace plumblane
