#include "publish/metric_sheet.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

namespace plumblane {

MetricSheet& MetricSheet::Begin(const std::string& name, const std::string& help,
                                prometheus::MetricType type) {
  assert(help.find_first_of("\n\\") == std::string::npos);
  families_.push_back({"plumblane_" + name, help, type, {}});
  return *this;
}

MetricSheet& MetricSheet::Gauge(const std::string& name, const std::string& help) {
  return Begin(name, help, prometheus::MetricType::Gauge);
}
MetricSheet& MetricSheet::Counter(const std::string& name, const std::string& help) {
  return Begin(name, help, prometheus::MetricType::Counter);
}
MetricSheet& MetricSheet::Histogram(const std::string& name, const std::string& help) {
  return Begin(name, help, prometheus::MetricType::Histogram);
}

MetricSheet& MetricSheet::Set(double value, const Labels& labels) {
  assert(!std::isnan(value));
  prometheus::MetricFamily& family = families_.back();
  prometheus::ClientMetric& metric = family.metric.emplace_back();
  for (const auto& [name, text] : labels) metric.label.push_back({name, text});
  if (family.type == prometheus::MetricType::Counter) {
    metric.counter.value = value;
  } else {
    metric.gauge.value = value;
  }
  return *this;
}

MetricSheet& MetricSheet::Set(const std::vector<double>& ends, const std::vector<int64_t>& counts,
                              double sum) {
  assert(counts.size() == ends.size() + 1);
  prometheus::ClientMetric::Histogram& histogram = families_.back().metric.emplace_back().histogram;
  uint64_t count = 0;
  for (size_t i = 0; i < counts.size(); ++i) {
    count += static_cast<uint64_t>(counts[i]);
    const double end = i < ends.size() ? ends[i] : std::numeric_limits<double>::infinity();
    histogram.bucket.push_back({count, end});
  }
  histogram.sample_count = count;
  histogram.sample_sum = sum;
  return *this;
}

std::vector<prometheus::MetricFamily> MetricSheet::Take() {
  std::erase_if(families_, [](const auto& family) { return family.metric.empty(); });
  return std::move(families_);
}

}  // namespace plumblane
