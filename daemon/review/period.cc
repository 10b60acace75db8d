#include "review/period.h"

#include <chrono>

namespace plumblane {
namespace {

using std::chrono::days;
using std::chrono::months;
using std::chrono::sys_days;
using std::chrono::year_month_day;
using std::chrono::years;

year_month_day DateOf(Day day) { return sys_days{days{day.number}}; }
Day DayOfDate(const sys_days& date) {
  return {static_cast<int32_t>(date.time_since_epoch().count())};
}

Day LastDayOf(std::chrono::year_month month) {
  return DayOfDate(month.year() / month.month() / std::chrono::last);
}

bool IsLastOfMonth(Day day) { return DateOf(day + 1).day() == std::chrono::day{1}; }

Day YearBefore(Day day) {
  const year_month_day date = DateOf(day);
  const auto month = date.year() / date.month() - years{1};
  if (IsLastOfMonth(day)) return LastDayOf(month);
  return DayOfDate(month / date.day());
}

}  // namespace

Period PeriodBefore(const Period& period) {
  const Day last = period.first - 1;
  const year_month_day first = DateOf(period.first);
  if (first.day() != std::chrono::day{1} || !IsLastOfMonth(period.last)) {
    return {last - (period.last - period.first), last};
  }
  const year_month_day end = DateOf(period.last + 1);
  const months length = end.year() / end.month() - first.year() / first.month();
  return {DayOfDate((first.year() / first.month() - length) / std::chrono::day{1}), last};
}

Period YearBefore(const Period& period) {
  return {YearBefore(period.first), YearBefore(period.last)};
}

}  // namespace plumblane
