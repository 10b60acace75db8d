#include "publish/open_metrics.h"

#include <absl/strings/ascii.h>
#include <absl/strings/match.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_replace.h>
#include <absl/strings/str_split.h>

#include <charconv>
#include <cmath>
#include <utility>

namespace plumblane {
namespace {

using prometheus::ClientMetric;
using prometheus::MetricFamily;
using prometheus::MetricType;

constexpr std::string_view kUnits[] = {"seconds", "bytes", "ratio"};

// As few digits as give the same number back.
std::string Number(double value) {
  if (std::isinf(value)) return value > 0 ? "+Inf" : "-Inf";
  char buffer[32];
  const auto end = std::to_chars(buffer, buffer + sizeof(buffer), value);
  return {buffer, end.ptr};
}

std::string Bound(double end) {
  const std::string text = Number(end);
  return text.find_first_of(".enI") == std::string::npos ? text + ".0" : text;
}

std::string Escaped(const std::string& text) {
  return absl::StrReplaceAll(text, {{"\\", "\\\\"}, {"\n", "\\n"}, {"\"", "\\\""}});
}

std::string Labels(const ClientMetric& metric, const std::string& bound = "") {
  std::string labels;
  for (const auto& [name, value] : metric.label) {
    absl::StrAppend(&labels, labels.empty() ? "" : ",", name, "=\"", Escaped(value), "\"");
  }
  if (!bound.empty()) absl::StrAppend(&labels, labels.empty() ? "" : ",", "le=\"", bound, "\"");
  return labels.empty() ? "" : absl::StrCat("{", labels, "}");
}

// What a family is called here, and of what type it is.
std::pair<std::string, std::string> NameAndType(const MetricFamily& family) {
  std::string name = family.name;
  const auto without = [&name](std::string_view end) { name.resize(name.size() - end.size()); };
  switch (family.type) {
    case MetricType::Counter:
      without("_total");
      return {name, "counter"};
    case MetricType::Histogram:
      return {name, "histogram"};
    default:
      if (!name.ends_with("_info")) return {name, "gauge"};
      without("_info");
      return {name, "info"};
  }
}

void AppendSamples(const MetricFamily& family, const ClientMetric& metric, std::string& text) {
  const auto add = [&](std::string_view end, const std::string& labels, const std::string& value) {
    absl::StrAppend(&text, family.name, std::string(end), labels, " ", value, "\n");
  };
  if (family.type != MetricType::Histogram) {
    const bool is_counter = family.type == MetricType::Counter;
    return add("", Labels(metric), Number(is_counter ? metric.counter.value : metric.gauge.value));
  }
  const ClientMetric::Histogram& histogram = metric.histogram;
  for (const ClientMetric::Bucket& bucket : histogram.bucket) {
    add("_bucket", Labels(metric, Bound(bucket.upper_bound)),
        std::to_string(bucket.cumulative_count));
  }
  add("_count", Labels(metric), std::to_string(histogram.sample_count));
  add("_sum", Labels(metric), Number(histogram.sample_sum));
}

}  // namespace

std::string OpenMetricsText(const std::vector<MetricFamily>& families) {
  std::string text;
  for (const MetricFamily& family : families) {
    const auto [name, type] = NameAndType(family);
    absl::StrAppend(&text, "# TYPE ", name, " ", type, "\n");
    for (const std::string_view unit : kUnits) {
      if (!name.ends_with(absl::StrCat("_", std::string(unit)))) continue;
      absl::StrAppend(&text, "# UNIT ", name, " ", std::string(unit), "\n");
    }
    absl::StrAppend(&text, "# HELP ", name, " ", Escaped(family.help), "\n");
    for (const ClientMetric& metric : family.metric) AppendSamples(family, metric, text);
  }
  return text + "# EOF\n";
}

bool PrefersOpenMetrics(std::string_view accept) {
  double open = 0, plain = 0;
  for (const absl::string_view range : absl::StrSplit(std::string(accept), ',')) {
    const std::vector<std::string> parts = absl::StrSplit(range, ';');
    const std::string type = absl::AsciiStrToLower(absl::StripAsciiWhitespace(parts[0]));
    double weight = 1;
    bool is_ours = true;
    for (size_t i = 1; i < parts.size(); ++i) {
      const std::pair<std::string, std::string> parameter =
          absl::StrSplit(parts[i], absl::MaxSplits('=', 1));
      const absl::string_view name = absl::StripAsciiWhitespace(parameter.first);
      const absl::string_view value = absl::StripAsciiWhitespace(parameter.second);
      if (name == "q" && !absl::SimpleAtod(value, &weight)) weight = 0;
      if (name == "version") is_ours = value == "1.0.0";
    }
    if (type == "application/openmetrics-text" && is_ours) open = std::max(open, weight);
    if (type == "text/plain") plain = std::max(plain, weight);
  }
  return open > 0 && open >= plain;
}

}  // namespace plumblane
