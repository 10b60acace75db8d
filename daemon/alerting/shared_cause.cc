#include "alerting/shared_cause.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <iterator>
#include <map>

namespace plumblane {
namespace {

constexpr double kYearDays = 364;
constexpr double kByChanceAYear = .1;
constexpr double kMostMean = 700;  // exp(-mean) is not 0

}  // namespace

int FewestOfSharedCause(double false_alarms_a_year) {
  assert(false_alarms_a_year >= 0);
  const double mean = std::min(2 * false_alarms_a_year / kYearDays, kMostMean);
  double probability = std::exp(-mean), below = probability;  // of exactly, at most `count`
  int count = 0;
  while (count < 1 || kYearDays * (1 - below) >= kByChanceAYear) {
    probability *= mean / ++count;
    below += probability;
  }
  return count + 1;
}

std::vector<SharedCause> GroupAlerts(std::span<const Day> opened, double false_alarms_a_year) {
  const auto fewest = static_cast<size_t>(FewestOfSharedCause(false_alarms_a_year));
  std::map<Day, std::vector<size_t>> by_day;
  for (size_t i = 0; i < opened.size(); ++i) by_day[opened[i]].push_back(i);
  std::vector<SharedCause> groups;
  const auto add = [&](Day day, const std::vector<size_t>& alerts) {
    groups.back().last = day;
    groups.back().alerts.insert(groups.back().alerts.end(), alerts.begin(), alerts.end());
  };
  for (auto at = by_day.begin(); at != by_day.end(); ++at) {
    const auto beside = std::next(at);
    const bool has_beside = beside != by_day.end() && beside->first == at->first + 1;
    const size_t count = at->second.size() + (has_beside ? beside->second.size() : 0);
    if (count < fewest) continue;
    if (groups.empty() || groups.back().last < at->first) {
      groups.push_back({at->first, at->first, {}});
      add(at->first, at->second);
    }
    if (has_beside) add(beside->first, beside->second);
  }
  for (SharedCause& group : groups) std::sort(group.alerts.begin(), group.alerts.end());
  return groups;
}

}  // namespace plumblane
