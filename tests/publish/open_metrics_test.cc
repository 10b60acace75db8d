// OpenMetrics 1.0 text, sentence by sentence of open_metrics.h, and who gets it.
#include "publish/open_metrics.h"

#include <gtest/gtest.h>

#include <utility>

#include "publish/metric_sheet.h"

namespace plumblane {
namespace {

TEST(OpenMetrics, AreWrittenByTheirRules) {
  MetricSheet sheet;
  sheet.Gauge("build_info", "Always 1.").Set(1, {{"version", "1.0"}});
  sheet.Gauge("on_time_ratio", "A \"share\".").Set(0.1, {{"supplier", "a\"b\\c\nd"}, {"x", "y"}});
  sheet.Counter("events_total", "Events.").Set(12345678).Set(1e21, {{"outcome", "taken"}});
  sheet.Histogram("sync_seconds", "Syncs.").Set({0.001, 1, 10}, {3, 0, 2, 1}, 12.5);
  EXPECT_EQ(OpenMetricsText(sheet.Take()), R"(# TYPE plumblane_build info
# HELP plumblane_build Always 1.
plumblane_build_info{version="1.0"} 1
# TYPE plumblane_on_time_ratio gauge
# UNIT plumblane_on_time_ratio ratio
# HELP plumblane_on_time_ratio A \"share\".
plumblane_on_time_ratio{supplier="a\"b\\c\nd",x="y"} 0.1
# TYPE plumblane_events counter
# HELP plumblane_events Events.
plumblane_events_total 12345678
plumblane_events_total{outcome="taken"} 1e+21
# TYPE plumblane_sync_seconds histogram
# UNIT plumblane_sync_seconds seconds
# HELP plumblane_sync_seconds Syncs.
plumblane_sync_seconds_bucket{le="0.001"} 3
plumblane_sync_seconds_bucket{le="1.0"} 3
plumblane_sync_seconds_bucket{le="10.0"} 5
plumblane_sync_seconds_bucket{le="+Inf"} 6
plumblane_sync_seconds_count 6
plumblane_sync_seconds_sum 12.5
# EOF
)");
  EXPECT_EQ(OpenMetricsText({}), "# EOF\n");
}

TEST(OpenMetrics, GoToWhoAsksForThemAndNoLessThanForPlainText) {
  const std::pair<const char*, bool> cases[] = {
      {"", false},
      {"*/*", false},
      {"text/plain", false},
      {"application/openmetrics-text", true},
      {"application/openmetrics-text;version=1.0.0", true},
      {"Application/OpenMetrics-Text; version=1.0.0; charset=utf-8", true},
      {"application/openmetrics-text;version=0.0.1", false},
      {"application/openmetrics-text;version=1.0.0,application/"
       "openmetrics-text;version=0.0.1;q=0.75,"
       "text/plain;version=0.0.4;q=0.5,*/*;q=0.1",
       true},
      {"text/plain;q=0.9, application/openmetrics-text;q=0.5", false},
      {"application/openmetrics-text;q=0", false},
      {"application/openmetrics-text;q=x", false},
      {";;,=,", false},
  };
  for (const auto& [accept, expected] : cases) {
    EXPECT_EQ(PrefersOpenMetrics(accept), expected) << accept;
  }
}

}  // namespace
}  // namespace plumblane
