// A small fleet for a year through the engine: no more false alarms than agreed on, and a worsening
// is heard about when the designs say. With 1,000 lanes it is tests/bench/fleet_year_bench.cc.
#include <gtest/gtest.h>

#include <cmath>

#include "support/fleet_year.h"

namespace plumblane {
namespace {

using test::EventTimeEngine;
using test::FleetYear;
using test::MedianOf;

TEST(AlertFleet, AYearHasTheFalseAlarmsAgreedOnAndAWorseningIsHeardAsSoonAsDesigned) {
  FleetYear fleet(1, 60);
  EventTimeEngine engine;
  fleet.Run(*engine);
  double budget = 0;
  for (const auto& watch : (*engine).Look().alerts().Watches()) {
    budget += watch.plan ? (*engine).Look().rules().alerts.false_alarms_a_year : 0;
  }
  const auto alarms = static_cast<double>(fleet.FalseAlarms().size());
  EXPECT_LE(alarms, budget + 3 * std::sqrt(budget));
  EXPECT_GT(alarms, 0) << "as good as no watching at all";

  std::vector<double> days, designed;
  for (const FleetYear::Heard& heard : fleet.Worsened()) {
    days.push_back(heard.alert == nullptr ? INFINITY : heard.days());
    if (heard.alert != nullptr) designed.push_back(heard.alert->chart.days_to_hear);
  }
  ASSERT_GE(designed.size(), 10u);
  const double ratio = MedianOf(days) / MedianOf(designed);
  EXPECT_GT(ratio, .5);
  EXPECT_LT(ratio, 1.5);
}

}  // namespace
}  // namespace plumblane
