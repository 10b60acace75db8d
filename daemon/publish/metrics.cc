#include "publish/metrics.h"

#include <sys/resource.h>
#include <sys/statvfs.h>

#include <algorithm>
#include <filesystem>
#include <iterator>
#include <map>

namespace plumblane {
namespace {

constexpr size_t kMostSources = 20;
constexpr int64_t kSuppliersMillis = 60'000;
constexpr size_t kSuppliersRead = 200;

double Seconds(Instant t) { return static_cast<double>(t.millis) / kMillisPerSecond; }
double Number(int64_t count) { return static_cast<double>(count); }

// Of all files below, as far as they can be read.
double BytesBelow(const std::string& folder) {
  double bytes = 0;
  std::error_code error;
  auto it = std::filesystem::recursive_directory_iterator(folder, error);
  for (; !error && it != std::filesystem::recursive_directory_iterator(); it.increment(error)) {
    std::error_code ignored;  // a file may be gone by now
    if (!it->is_regular_file(ignored)) continue;
    const std::uintmax_t size = it->file_size(ignored);
    if (!ignored) bytes += static_cast<double>(size);
  }
  return bytes;
}

}  // namespace

std::vector<prometheus::MetricFamily> Metrics::Collect() const {
  MetricSheet sheet;
  const View view = sources_.engine.Look();
  sheet.Gauge("build_info", "Always 1; its label is the version.")
      .Set(1, {{"version", sources_.version}});
  sheet.Gauge("now_timestamp_seconds", "Now, by the clock that scores go by.")
      .Set(Seconds(view.now()));
  AddProcess(sheet);
  AddIntake(sheet);
  AddSharedLog(sheet);
  AddSources(view, sheet);
  AddDisk(sheet);
  AddAlerts(view, sheet);
  AddSnapshot(sheet);
  AddSuppliers(view, sheet);
  return sheet.Take();
}

void Metrics::AddProcess(MetricSheet& sheet) const {
  sheet.Gauge("start_timestamp_seconds", "When the daemon started.").Set(Seconds(started_));
  std::error_code error;
  const std::filesystem::directory_iterator files("/proc/self/fd", error);
  if (!error) {
    sheet.Gauge("open_files", "Files and connections that are open.")
        .Set(Number(std::distance(files, {})));
  }
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) == 0 && limit.rlim_cur != RLIM_INFINITY) {
    sheet.Gauge("open_files_limit", "As many may be open.")
        .Set(static_cast<double>(limit.rlim_cur));
  }
  sheet.Gauge("certificate_end_timestamp_seconds",
              "Until when a certificate is valid that was read at the start, by its setting.");
  for (const auto& [setting, end] : sources_.certificates) {
    sheet.Set(Seconds(end), {{"setting", setting}});
  }
}

void Metrics::AddIntake(MetricSheet& sheet) const {
  const View view = sources_.engine.Look();
  sheet
      .Gauge("accepting_events",
             "1 while events are taken, 0 for lack of room, after a failed write or while another "
             "daemon takes them.")
      .Set(sources_.engine.AcceptsEvents() ? 1 : 0);
  sheet.Gauge("queued_events", "Events that wait to be written.")
      .Set(static_cast<double>(sources_.engine.QueuedEvents()));
  sheet.Gauge("queue_limit_events", "Events that may wait before senders are slowed down.")
      .Set(static_cast<double>(sources_.queue_events));
  const IntakeService::Totals& totals = sources_.intake;
  sheet.Counter("intake_events_total", "Events answered since the start, by what became of them.")
      .Set(Number(totals.accepted), {{"outcome", "accepted"}})
      .Set(Number(totals.duplicates), {{"outcome", "repeated"}})
      .Set(Number(totals.conflicts), {{"outcome", "conflicting"}})
      .Set(Number(totals.rejected), {{"outcome", "rejected"}});
  const std::vector<double> ends(TimedLog::kEnds.begin(), TimedLog::kEnds.end());
  std::vector<int64_t> counts;
  for (size_t i = 0; i <= ends.size(); ++i) counts.push_back(sources_.log.count(i));
  sheet.Histogram("log_sync_seconds", "What an append to the log took, until it was on the disk.")
      .Set(ends, counts, sources_.log.seconds());
  sheet.Gauge("log_entries", "Entries applied.")
      .Set(static_cast<double>(view.catalog().log_sequence));
  sheet.Gauge("stored_orders", "Order parts known.").Set(Number(view.catalog().order_count));
  sheet.Gauge("stored_events", "Events kept.").Set(Number(view.catalog().event_count));
}

void Metrics::AddSharedLog(MetricSheet& sheet) const {
  const auto shared = sources_.engine.shared_log();
  if (!shared) return;
  sheet.Gauge("follows", "1 while another daemon takes events and this one applies them.")
      .Set(shared->follows ? 1 : 0);
  sheet.Gauge("shared_log_entries", "Entries of the log when it was last asked.")
      .Set(static_cast<double>(shared->tail));
  if (!shared->as_of) return;
  sheet
      .Gauge("complete_timestamp_seconds",
             "All that was in the log by then is in answers; of the wall clock.")
      .Set(Seconds(*shared->as_of));
}

void Metrics::AddSources(const View& view, MetricSheet& sheet) const {
  std::vector<std::pair<Instant, std::string>> heard;
  for (const auto& [name, source] : view.catalog().sources) {
    if (!source.retired && source.last_event) heard.emplace_back(*source.last_event, name);
  }
  std::sort(heard.begin(), heard.end());
  const size_t told = std::min(heard.size(), kMostSources);
  sheet.Gauge("source_last_event_timestamp_seconds",
              "The latest event of a source; of the sources silent longest.");
  for (size_t i = 0; i < told; ++i) {
    sheet.Set(Seconds(heard[i].first), {{"source", heard[i].second}});
  }
  sheet.Gauge("other_sources", "Sources heard of later than those told one by one.")
      .Set(static_cast<double>(heard.size() - told));
  if (const std::optional<Instant> news = view.catalog().NewsHorizon()) {
    sheet.Gauge("delivery_news_timestamp_seconds", "Delivery news is complete up to here.")
        .Set(Seconds(*news));
  }
}

void Metrics::AddDisk(MetricSheet& sheet) const {
  struct statvfs disk {};
  if (statvfs(sources_.data_directory.c_str(), &disk) == 0) {
    const auto block = static_cast<double>(disk.f_frsize);
    sheet.Gauge("disk_free_bytes", "Free for the daemon on the disk of its data.")
        .Set(block * static_cast<double>(disk.f_bavail));
    sheet.Gauge("disk_size_bytes", "The size of that disk.")
        .Set(block * static_cast<double>(disk.f_blocks));
  }
  sheet.Gauge("data_bytes", "What the data directory holds.")
      .Set(BytesBelow(sources_.data_directory));
}

void Metrics::AddAlerts(const View& view, MetricSheet& sheet) const {
  std::map<std::string, int64_t> counts = {{"active", 0}, {"acknowledged", 0}, {"shelved", 0}};
  const Day today = DayOf(view.now());
  for (const auto& [id, alert] : view.catalog().alerts->by_id) {
    if (!alert.is_open()) continue;
    ++counts[alert.is_shelved(today) ? "shelved" : alert.acknowledged ? "acknowledged" : "active"];
  }
  sheet.Gauge("alerts", "Alerts that are open, by their state.");
  for (const auto& [state, count] : counts) sheet.Set(Number(count), {{"state", state}});
  const std::vector<RouteState> routes = sources_.deliverer.states();
  sheet.Gauge("delivery_waiting_notices", "Notices of alerts not sent yet.");
  for (const RouteState& route : routes) sheet.Set(Number(route.backlog), {{"sink", route.name}});
  sheet.Gauge("delivery_failing", "1 while sending is tried again or was told to stop.");
  for (const RouteState& route : routes) {
    sheet.Set(route.stopped || route.next_attempt ? 1 : 0, {{"sink", route.name}});
  }
  sheet.Counter("delivery_refused_total", "Notices that the receiver refused, since the start.");
  for (const RouteState& route : routes) sheet.Set(Number(route.refused), {{"sink", route.name}});
}

void Metrics::AddSnapshot(MetricSheet& sheet) const {
  if (sources_.snapshots.options().directory.empty()) return;
  const SnapshotWriter::State state = sources_.snapshots.state();
  if (state.last_write) {
    sheet.Gauge("snapshot_last_write_timestamp_seconds", "When the files of scores were written.")
        .Set(Seconds(*state.last_write));
  }
  sheet.Counter("snapshot_failures_total", "Attempts to write them that failed, since the start.")
      .Set(Number(state.failures));
}

void Metrics::AddSuppliers(const View& view, MetricSheet& sheet) const {
  const std::lock_guard lock(mutex_);
  const Instant wall = sources_.engine.WallNow();
  if (!suppliers_read_ || wall - *suppliers_read_ >= kSuppliersMillis || wall < *suppliers_read_) {
    std::vector<SupplierFigures> read;
    while (true) {
      const auto page =
          view.ListSuppliers({}, read.empty() ? "" : read.back().supplier, kSuppliersRead, {});
      if (!page.ok()) return;  // no sample is better than an old one
      for (const ScoreAnswer& one : page->answer) {
        const ScoreEstimate& score = one.score;
        const auto& median = score.delivery.median;
        read.push_back({*one.subject.supplier, score.on_time.estimate, score.defect.estimate,
                        median ? std::optional(median->seconds) : std::nullopt,
                        score.on_time.order_count, score.underway_count, score.overdue_count});
      }
      if (page->answer.size() < kSuppliersRead) break;
    }
    std::stable_sort(read.begin(), read.end(), [](const auto& a, const auto& b) {
      return a.settled + a.underway > b.settled + b.underway;
    });
    suppliers_ = std::move(read);
    suppliers_read_ = wall;
  }
  const size_t told = std::min(suppliers_.size(), sources_.suppliers);
  const auto add = [&](const char* name, const char* help, auto figure) {
    sheet.Gauge(name, help);
    for (size_t i = 0; i < told; ++i) {
      const std::optional<double> value = figure(suppliers_[i]);
      if (value) sheet.Set(*value, {{"supplier", suppliers_[i].supplier}});
    }
  };
  using Figures = const SupplierFigures&;
  const auto settled = [](Figures one) { return std::optional(Number(one.settled)); };
  const auto underway = [](Figures one) { return std::optional(Number(one.underway)); };
  const auto overdue = [](Figures one) { return std::optional(Number(one.overdue)); };
  add("supplier_on_time_ratio", "The share on time, as estimated for now.",
      [](Figures one) { return one.on_time; });
  add("supplier_defect_ratio", "The share bad or lost, as estimated for now.",
      [](Figures one) { return one.defect; });
  add("supplier_delivery_median_seconds", "Within it half arrive, from payment on.",
      [](Figures one) { return one.delivery_seconds; });
  add("supplier_settled_orders", "Orders behind the share on time.", settled);
  add("supplier_underway_orders", "Orders not delivered yet.", underway);
  add("supplier_overdue_orders", "Of these those whose promise has passed.", overdue);
  const auto rest = [&](const char* name, const char* help, auto figure) {
    double sum = 0;
    for (size_t i = told; i < suppliers_.size(); ++i) sum += *figure(suppliers_[i]);
    sheet.Gauge(name, help).Set(sum);
  };
  sheet.Gauge("other_suppliers", "Suppliers with fewer orders, which are told in sum only.")
      .Set(static_cast<double>(suppliers_.size() - told));
  rest("other_suppliers_settled_orders", "Their settled orders.", settled);
  rest("other_suppliers_underway_orders", "Their orders not delivered yet.", underway);
  rest("other_suppliers_overdue_orders", "Of these those whose promise has passed.", overdue);
}

}  // namespace plumblane
