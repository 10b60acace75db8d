// Which days a period is compared with, by example.
#include "review/period.h"

#include <gtest/gtest.h>

#include <string>

namespace plumblane {
namespace {

Period Read(const std::string& words) {
  const size_t dots = words.find("..");
  return {*ParseDay(words.substr(0, dots)), *ParseDay(words.substr(dots + 2))};
}

std::string Write(const Period& period) {
  return FormatDay(period.first) + ".." + FormatDay(period.last);
}

TEST(PeriodTest, IsComparedWithWholeMonthsOrWithAsManyDays) {
  const struct {
    std::string period, before, year_before;
  } rows[] = {
      {"2026-07-01..2026-09-30", "2026-04-01..2026-06-30", "2025-07-01..2025-09-30"},
      {"2026-01-01..2026-03-31", "2025-10-01..2025-12-31", "2025-01-01..2025-03-31"},
      {"2026-03-01..2026-03-31", "2026-02-01..2026-02-28", "2025-03-01..2025-03-31"},
      {"2026-01-01..2026-12-31", "2025-01-01..2025-12-31", "2025-01-01..2025-12-31"},
      // Leap years, both ways.
      {"2024-02-01..2024-02-29", "2024-01-01..2024-01-31", "2023-02-01..2023-02-28"},
      {"2025-02-01..2025-02-28", "2025-01-01..2025-01-31", "2024-02-01..2024-02-29"},
      // No whole months: as many days.
      {"2026-07-06..2026-07-12", "2026-06-29..2026-07-05", "2025-07-06..2025-07-12"},
      {"2026-07-01..2026-07-01", "2026-06-30..2026-06-30", "2025-07-01..2025-07-01"},
      {"2024-02-29..2024-03-05", "2024-02-23..2024-02-28", "2023-02-28..2023-03-05"},
  };
  for (const auto& row : rows) {
    EXPECT_EQ(Write(PeriodBefore(Read(row.period))), row.before) << row.period;
    EXPECT_EQ(Write(YearBefore(Read(row.period))), row.year_before) << row.period;
  }
}

}  // namespace
}  // namespace plumblane
