// Subjects made of plain counts, for tests of watching.
#pragma once

#include <algorithm>
#include <functional>
#include <vector>

#include "alerting/draws.h"
#include "alerting/watch.h"

namespace plumblane {

inline constexpr Day kFirst{20'000};

class ListSubject final : public WatchSubject {
 public:
  std::vector<DayCount> days;  // ascending
  std::optional<DesignBasis> basis = DesignBasis{{.1, 40}, 0, 28};
  Day unknown_until = kFirst;  // no basis before

  std::optional<Day> FirstDay() const override {
    if (days.empty()) return std::nullopt;
    return days.front().day;
  }
  std::optional<DesignBasis> BasisOn(Day day) const override {
    return day < unknown_until ? std::nullopt : basis;
  }
  std::vector<DayCount> Counts(Day /*design_day*/, Day from, Day to) const override {
    std::vector<DayCount> some;
    for (const DayCount& count : days) {
      if (from <= count.day && count.day <= to && count.orders > 0) some.push_back(count);
    }
    return some;
  }
};

// `days` days of Poisson(a_day) orders at this rate, appended.
inline void Append(ListSubject& subject, int days, double a_day, double rate, Draws& draws) {
  Day day = subject.days.empty() ? kFirst : subject.days.back().day + 1;
  for (int i = 0; i < days; ++i, day = day + 1) {
    const int64_t orders = draws.Count(a_day);
    subject.days.push_back({day, orders, draws.Hits(orders, rate)});
  }
}

inline Day LastOf(const ListSubject& subject) { return subject.days.back().day; }

inline Watch Replayed(const ListSubject& subject, const std::vector<Day>& accepted = {},
                      const WatchRules& rules = {}) {
  ChartDesigns designs;
  return Replay(subject, rules, accepted, LastOf(subject), designs);
}

}  // namespace plumblane
