#include "engine/alert_reports.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <optional>
#include <set>

#include "cohorts/buckets.h"
#include "scoring/underway.h"

namespace plumblane {
namespace {

using Measures = std::shared_ptr<const MeasureSet>;

constexpr int kPatternDays = 90;

constexpr Measure kMeasuresWithEvents[] = {Measure::kUnderway, Measure::kTransit,
                                           Measure::kResponse};

struct Reports {
  int64_t reports = 0;
  std::set<const Cohort*> cohorts;
};

// The longest usual wait for an event, from the days with one up to and including days[last].
std::optional<int> LongestUsual(std::span<const Day> days, size_t last) {
  std::vector<int> gaps;
  for (size_t i = last; i > 0 && days[last] - days[i - 1] <= kPatternDays; --i) {
    gaps.push_back(days[i] - days[i - 1]);
  }
  if (gaps.size() < kFewestGaps) return std::nullopt;
  std::sort(gaps.begin(), gaps.end());
  const auto rank = static_cast<size_t>(std::ceil(.99 * static_cast<double>(gaps.size())));
  return std::max(gaps[rank - 1], kLeastSilentDays);
}

int64_t UnderwayOn(std::span<const Measures> cells, Day day) {
  int64_t count = 0;
  for (const Measures& one : cells) {
    count += UnderwayCount((*one)[Measure::kUnderway], Scope::kWithExcused,
                           {StartOf(day + 1), StartOf(day + 1), day});
  }
  return count;
}

}  // namespace

std::vector<Alert> ReportAlerts(std::span<const Measures> cells, Code kind, Day today) {
  std::map<Day, Reports> by_day;
  for (const Measures& one : cells) {
    for (const Cohort& cohort : (*one)[Measure::kDefect]) {
      for (const Outcome& outcome : cohort.cell.counted.outcomes) {
        if (outcome.code != kind) continue;
        Reports& reports = by_day[cohort.day + static_cast<int32_t>(outcome.bucket)];
        reports.reports += outcome.count;
        reports.cohorts.insert(&cohort);
      }
    }
  }
  std::vector<Alert> alerts;
  std::set<const Cohort*> cohorts;  // of the last alert
  Day latest;
  for (const auto& [day, reports] : by_day) {
    if (alerts.empty() || day - latest > kReportQuietDays) {
      Alert& alert = alerts.emplace_back();
      alert.facts.changed = alert.facts.opened = day;
      cohorts.clear();
    }
    AlertFacts& facts = alerts.back().facts;
    facts.hits += reports.reports;
    for (const Cohort* cohort : reports.cohorts) {
      if (cohorts.insert(cohort).second) facts.orders += cohort->cell.counted.entered;
    }
    latest = day;
    facts.closed = day + kReportQuietDays;
    facts.ending = Ending::kReturned;
  }
  if (!alerts.empty() && *alerts.back().facts.closed > today) {
    alerts.back().facts.closed.reset();
    alerts.back().facts.ending = Ending::kOpen;
  }
  return alerts;
}

std::vector<Day> DaysWithEvents(std::span<const Measures> cells) {
  Day first{INT32_MAX}, last{INT32_MIN};
  const auto each = [&](const auto& take) {
    for (const Measures& one : cells) {
      for (const Measure measure : kMeasuresWithEvents) {
        for (const Cohort& cohort : (*one)[measure]) {
          take(cohort.day);
          if (measure != Measure::kUnderway) continue;
          for (const Tally* tally : {&cohort.cell.counted, &cohort.cell.excused}) {
            for (const Outcome& outcome : tally->outcomes) {
              if (outcome.code != Code::kClosed) continue;
              take(cohort.day + static_cast<int32_t>(outcome.bucket));
            }
          }
        }
      }
    }
  };
  each([&](Day day) {
    first = std::min(first, day);
    last = std::max(last, day);
  });
  std::vector<Day> days;
  if (last < first) return days;
  std::vector<bool> marked(static_cast<size_t>(last - first) + 1);
  each([&](Day day) { marked[static_cast<size_t>(day - first)] = true; });
  for (Day day = first; day <= last; day = day + 1) {
    if (marked[static_cast<size_t>(day - first)]) days.push_back(day);
  }
  return days;
}

std::vector<Alert> SilenceAlerts(std::span<const Day> days, std::span<const Measures> cells,
                                 Day heard_through) {
  const auto later = std::upper_bound(days.begin(), days.end(), heard_through);
  days = days.first(static_cast<size_t>(later - days.begin()));
  std::vector<Alert> alerts;
  for (size_t i = 0; i < days.size(); ++i) {
    const bool is_last = i + 1 == days.size();
    const int wait = (is_last ? heard_through : days[i + 1]) - days[i];
    if (wait <= kLeastSilentDays) continue;
    const auto usual = LongestUsual(days, i);
    if (!usual || wait <= *usual) continue;
    const Day opened = days[i] + *usual + 1;
    // The day of the next event is not silent.
    if (!is_last && opened >= days[i + 1]) continue;
    const int64_t underway = UnderwayOn(cells, days[i]);
    if (underway == 0) continue;
    Alert& alert = alerts.emplace_back();
    alert.facts.changed = days[i];
    alert.facts.opened = opened;
    alert.facts.orders = underway;
    alert.facts.hits = opened - days[i];
    if (is_last) continue;
    alert.facts.ending = Ending::kReturned;
    alert.facts.closed = days[i + 1];
  }
  return alerts;
}

}  // namespace plumblane
