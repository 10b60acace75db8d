// Metrics as OpenMetrics 1.0 text, which prometheus-cpp does not write, and who is to get it.
//
// What differs from the text format 0.0.4: a counter is called without its `_total`, which its
// sample keeps; a gauge `x_info` is the info `x`; a unit at the end of a name (seconds, bytes,
// ratio) is told; bounds of buckets always have a point; the end is marked.
//
// Pure and thread-safe.
#pragma once

#include <prometheus/metric_family.h>

#include <string>
#include <string_view>
#include <vector>

namespace plumblane {

inline constexpr char kOpenMetricsType[] =
    "application/openmetrics-text; version=1.0.0; charset=utf-8";

// REQUIRES: counters end in `_total`; types are those of metric_sheet.h.
std::string OpenMetricsText(const std::vector<prometheus::MetricFamily>& families);

// By an HTTP Accept header: OpenMetrics 1.0 is asked for, and no less than plain text.
bool PrefersOpenMetrics(std::string_view accept);

}  // namespace plumblane
