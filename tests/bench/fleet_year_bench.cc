// A fleet for a year in control, then every fifth lane worse, through the engine: false alarms
// beside the budget, and how soon the worsening is heard beside what the designs promise.
// Usage: fleet_year_bench [lanes=1000 [seeds=3]]
#include <cmath>
#include <cstdio>
#include <map>

#include "support/fleet_year.h"

namespace plumblane {
namespace {

using test::EventTimeEngine;
using test::FleetYear;
using test::MedianOf;

constexpr double kBudget = .1;  // false alarms a chart and year

// What a chart is of: where the table has its row.
std::string RowOf(const WatchKey& key) {
  const std::string what = key.supplier.empty() ? key.IsPool() ? "pools" : "lanes" : "suppliers";
  return absl::StrCat(what, ", ", std::string(NameOf(key.measure)));
}

struct Row {
  int64_t charts = 0, alarms = 0;
  double designed = 0;  // false alarms a year that the last designs expect
};

struct Delays {
  std::vector<double> days, orders, designed_days;
  int64_t lanes = 0, unheard = 0;
};

void Run(int lanes, int seeds) {
  std::map<std::string, Row> rows;
  std::map<double, Delays> delays;  // by most orders a year
  for (int seed = 1; seed <= seeds; ++seed) {
    FleetYear fleet(static_cast<uint64_t>(seed), lanes);
    EventTimeEngine engine;
    fleet.Run(*engine);
    std::map<WatchKey, double> designed;
    for (const auto& watch : (*engine).Look().alerts().Watches()) {
      if (!watch.plan) continue;
      Row& row = rows[RowOf(watch.key)];
      ++row.charts;
      row.designed += watch.plan->FalseAlarmsAYear();
    }
    for (const ToldAlert* alarm : fleet.FalseAlarms()) ++rows[RowOf(alarm->key)].alarms;
    for (const FleetYear::Heard& heard : fleet.Worsened()) {
      const double yearly = heard.lane->yearly;
      const double most = yearly < 400 ? 400 : yearly < 700 ? 700 : 1000;
      Delays& of = delays[most];
      ++of.lanes;
      if (heard.alert == nullptr) {
        ++of.unheard;
        of.days.push_back(INFINITY);
        of.orders.push_back(INFINITY);
        continue;
      }
      of.days.push_back(heard.days());
      of.orders.push_back(static_cast<double>(heard.orders));
      of.designed_days.push_back(heard.alert->chart.days_to_hear);
    }
  }
  std::printf("%d lanes, %d seeds; a year in control, odds of being late x3 after it\n\n", lanes,
              seeds);
  std::printf("%-22s %7s %7s %9s %7s %12s\n", "charts", "number", "alarms", "designed", "s.e.",
              "of budget");
  for (const auto& [name, row] : rows) {
    if (row.charts == 0) {
      std::printf("%-22s %7s %7lld\n", name.c_str(), "-", static_cast<long long>(row.alarms));
      continue;
    }
    const double budget = kBudget * static_cast<double>(row.charts);
    const double alarms = static_cast<double>(row.alarms), error = std::sqrt(alarms);
    std::printf("%-22s %7lld %7lld %9.1f %7.1f %7.2f+-%.2f\n", name.c_str(),
                static_cast<long long>(row.charts), static_cast<long long>(row.alarms),
                row.designed, error, alarms / budget, error / budget);
  }
  std::printf("\n%-16s %6s %8s %12s %12s %12s\n", "orders a year", "lanes", "unheard",
              "median days", "orders", "design days");
  for (const auto& [most, of] : delays) {
    std::printf("up to %-10.0f %6lld %8lld %12.0f %12.0f %12.0f\n", most,
                static_cast<long long>(of.lanes), static_cast<long long>(of.unheard),
                MedianOf(of.days), MedianOf(of.orders),
                of.designed_days.empty() ? NAN : MedianOf(of.designed_days));
  }
}

}  // namespace
}  // namespace plumblane

int main(int argc, char** argv) {
  plumblane::Run(argc > 1 ? std::atoi(argv[1]) : 1000, argc > 2 ? std::atoi(argv[2]) : 3);
}
