// Metrics of one moment, as prometheus-cpp writes them.
//
// Names are of the text format 0.0.4: one prefix, base units, `_total` for what only grows. A
// figure that is not there has no sample; one that is none (NaN) is a bug. Belongs to one thread.
#pragma once

#include <prometheus/metric_family.h>

#include <string>
#include <utility>
#include <vector>

namespace plumblane {

class MetricSheet {
 public:
  using Labels = std::vector<std::pair<std::string, std::string>>;

  // Begins a metric; what is set next is of it. `name` is without its prefix. REQUIRES: a help text
  // without line end and backslash, as the library does not escape it.
  MetricSheet& Gauge(const std::string& name, const std::string& help);
  MetricSheet& Counter(const std::string& name, const std::string& help);
  MetricSheet& Histogram(const std::string& name, const std::string& help);

  MetricSheet& Set(double value, const Labels& labels = {});
  // `counts` by bucket, of which the last one has no end. REQUIRES: one more count than ends.
  MetricSheet& Set(const std::vector<double>& ends, const std::vector<int64_t>& counts, double sum);

  // Those with a sample.
  std::vector<prometheus::MetricFamily> Take();

 private:
  MetricSheet& Begin(const std::string& name, const std::string& help, prometheus::MetricType type);

  std::vector<prometheus::MetricFamily> families_;
};

}  // namespace plumblane
