// Alerts without a chart: reports of unsafe or counterfeit items, and silence.
#include "engine/alert_reports.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumblane {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr Day kStart{20'000};
using Cells = std::vector<std::shared_ptr<const MeasureSet>>;

// Orders promised for these days after the start, with a report so many days later.
Cells Reported(const std::vector<std::pair<int, uint32_t>>& reports, Code kind) {
  auto cells = std::make_shared<MeasureSet>();
  for (const auto& [day, later] : reports) {
    Cohort cohort;
    cohort.day = kStart + day;
    cohort.cell.counted.entered = 4;
    cohort.cell.counted.Add(kind, later, 1);
    (*cells)[Measure::kDefect].push_back(cohort);
  }
  return {cells};
}

TEST(AlertReports, OneReportIsEnoughAndLaterOnesBelongToIt) {
  const Cells cells = Reported({{0, 5}, {40, 0}, {300, 2}}, Code::kUnsafe);
  const auto alerts = ReportAlerts(cells, Code::kUnsafe, kStart + 310);
  ASSERT_THAT(alerts, SizeIs(2));
  EXPECT_EQ(alerts[0].facts.opened, kStart + 5);
  EXPECT_EQ(alerts[0].facts.hits, 2);
  EXPECT_EQ(alerts[0].facts.orders, 8);
  EXPECT_EQ(alerts[0].facts.closed, kStart + 40 + kReportQuietDays);
  EXPECT_EQ(alerts[1].facts.opened, kStart + 302);
  EXPECT_EQ(alerts[1].facts.ending, Ending::kOpen);
  EXPECT_THAT(ReportAlerts(cells, Code::kCounterfeit, kStart + 310), IsEmpty());
}

TEST(AlertReports, TheOrdersOfADayCountOnceHoweverManyAreReported) {
  Cells cells = Reported({{0, 5}}, Code::kUnsafe);
  auto more = std::make_shared<MeasureSet>(*cells[0]);
  (*more)[Measure::kDefect][0].cell.counted.Add(Code::kUnsafe, 9, 1);
  (*more)[Measure::kDefect][0].cell.counted.Add(Code::kUnsafe, 11, 1);
  // The same day on another lane holds other orders.
  const auto alerts = ReportAlerts(Cells{more, cells[0]}, Code::kUnsafe, kStart + 20);
  ASSERT_THAT(alerts, SizeIs(1));
  EXPECT_EQ(alerts[0].facts.hits, 4);
  EXPECT_EQ(alerts[0].facts.orders, 8);
}

TEST(AlertReports, EndWhenQuietForLongEnough) {
  const Cells cells = Reported({{0, 5}}, Code::kCounterfeit);
  const Day end = kStart + 5 + kReportQuietDays;
  EXPECT_EQ(ReportAlerts(cells, Code::kCounterfeit, end - 1)[0].facts.ending, Ending::kOpen);
  EXPECT_EQ(ReportAlerts(cells, Code::kCounterfeit, end)[0].facts.ending, Ending::kReturned);
}

// Orders paid on these days after the start; each is closed so many days later, 0 = under way.
Cells Paid(const std::vector<std::pair<int, uint32_t>>& orders) {
  auto cells = std::make_shared<MeasureSet>();
  for (const auto& [day, closed] : orders) {
    Cohort cohort;
    cohort.day = kStart + day;
    cohort.cell.counted.entered = 1;
    if (closed > 0) cohort.cell.counted.Add(Code::kClosed, closed, 1);
    (*cells)[Measure::kUnderway].push_back(cohort);
  }
  return {cells};
}

struct SilenceCase {
  const char* what;
  std::vector<std::pair<int, uint32_t>> orders;
  int heard_through;
  std::optional<int> opened;
};

TEST(AlertReports, ASupplierIsSilentForLongerThanItsPatternExplains) {
  const std::vector<std::pair<int, uint32_t>> daily = {{0, 1}, {1, 1}, {2, 1}, {3, 1},
                                                       {4, 1}, {5, 1}, {6, 0}};
  const std::vector<std::pair<int, uint32_t>> weekly = {{0, 7},  {7, 7},  {14, 7}, {21, 7},
                                                        {28, 7}, {35, 7}, {42, 0}};
  std::vector<std::pair<int, uint32_t>> none_waits = daily;
  none_waits.back().second = 1;
  const SilenceCase cases[] = {
      {"three days are within the least", daily, 9, std::nullopt},
      {"the fourth is one too many", daily, 10, 10},
      {"and stays the day it opened", daily, 30, 10},
      {"a weekly supplier may be quiet for a week", weekly, 49, std::nullopt},
      {"not for eight days", weekly, 50, 50},
      {"nobody waits for anything", none_waits, 30, std::nullopt},
      {"too little is known of its pattern", {{0, 1}, {1, 1}, {2, 0}}, 60, std::nullopt},
  };
  for (const SilenceCase& one : cases) {
    const auto alerts = SilenceAlerts(DaysWithEvents(Paid(one.orders)), Paid(one.orders),
                                      kStart + one.heard_through);
    ASSERT_EQ(alerts.empty(), !one.opened) << one.what;
    if (!one.opened) continue;
    EXPECT_EQ(alerts.back().facts.opened, kStart + *one.opened) << one.what;
  }
}

TEST(AlertReports, SilenceEndsWithTheNextEventAndStaysOnRecord) {
  const Cells cells = Paid({{0, 1}, {1, 1}, {2, 1}, {3, 1}, {4, 1}, {5, 0}, {20, 1}});
  const auto alerts = SilenceAlerts(DaysWithEvents(cells), cells, kStart + 22);
  ASSERT_THAT(alerts, SizeIs(1));
  EXPECT_EQ(alerts[0].facts.changed, kStart + 5);
  EXPECT_EQ(alerts[0].facts.closed, kStart + 20);
  EXPECT_EQ(alerts[0].facts.ending, Ending::kReturned);
  EXPECT_EQ(alerts[0].facts.orders, 1);
}

}  // namespace
}  // namespace plumblane
