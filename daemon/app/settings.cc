#include "app/settings.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>

#include <filesystem>
#include <map>

#include "app/setting_keys.h"

namespace plumblane {
namespace {

constexpr char kDefaultAddress[] = "127.0.0.1:7437";
// What a monitoring system can take of one metric.
constexpr int64_t kMostSuppliersTold = 100;

std::map<std::string, Key> KeysOf(Settings& settings) {
  ReadRules& rules = settings.engine.rules;
  constexpr int64_t kMillisPerHour = 3'600'000, kMostHours = 720;
  std::map<std::string, Key> keys = {
      {"data_directory", Text(settings.data_directory)},
      {"log_level", {"trace, debug, info, warning, error or off", Text(settings.log_level).set}},
      {"clock",
       {"\"wall\" or \"events\"",
        [&settings](const toml::node& node) {
          const auto mode = ReadClockMode(node.value_or<std::string>(""));
          if (mode.ok()) settings.engine.clock_mode = *mode;
          return mode.ok();
        }}},
      {"listen", Texts(settings.listen, "a list of addresses")},
      {"shutdown_seconds", Whole(settings.shutdown_seconds, 1, 600)},
      {"scores.half_life_days",
       Real(rules.half_life_days, kShortestHalfLifeDays, kLongestHalfLifeDays, "a number of days")},
      {"scores.settle_delay_hours",
       Whole(rules.settle_delay_millis, 0, kMostHours, kMillisPerHour)},
      {"scores.claim_window_days", Whole(rules.claim_window_days, 1, 365)},
      {"counting.lost_after_days", Whole(rules.fold.lost_after_days, 1, 365)},
      {"counting.tolerance_hours",
       Whole(rules.fold.tolerance_millis, 0, kMostHours, kMillisPerHour)},
      {"alerts.false_alarms_per_year", Real(rules.alerts.false_alarms_a_year, .001, 10)},
      {"alerts.odds_ratio", Real(rules.alerts.odds_ratio, 1.5, 10)},
      {"storage.block_cache_mib", Whole(settings.block_cache_mib, 8, 1 << 20)},
      {"storage.write_buffer_mib", Whole(settings.write_buffer_mib, 1, 1024)},
      {"storage.anchor", Text(settings.anchor)},
      {"storage.least_free_mib", Whole(settings.least_free_mib, 0, 1 << 20)},
      {"storage.kept_log_entries", Whole(settings.engine.kept_entries, 16, 1'000'000'000)},
      {"storage.decoded_cells_mib",
       Whole(settings.engine.series_bytes, 1, 1 << 20, int64_t{1} << 20)},
      {"storage.decoded_orders_mib",
       Whole(settings.engine.writer_bytes, 1, 1 << 20, int64_t{1} << 20)},
      {"intake.queue_events", Whole(settings.engine.queue_events, 1000, 10'000'000)},
      {"retention.orders_days", Whole(settings.orders_days, 0, 36'500)},
      {"snapshot.directory", Text(settings.snapshot.directory)},
      {"snapshot.every_seconds", Whole(settings.snapshot.every_seconds, 1, 86'400)},
      {"metrics.listen", Text(settings.metrics.listen)},
      {"metrics.suppliers", Whole(settings.metrics.suppliers, 0, kMostSuppliersTold)},
  };
  AddAccessKeys(settings.access, keys);
  AddDeliveryKeys(settings.delivery, keys);
  AddClusterKeys(settings.cluster, keys);
  return keys;
}

std::string Place(const std::string& path, const toml::source_region& at) {
  return at.begin.line == 0 ? path : absl::StrCat(path, ", line ", at.begin.line);
}

// `name` is the table of some known key.
bool IsSection(const std::string& name, const std::map<std::string, Key>& keys) {
  const auto it = keys.lower_bound(name + ".");
  return it != keys.end() && absl::StartsWith(it->first, name + ".");
}

absl::Status ReadTable(const std::string& path, const std::string& prefix, const toml::table& table,
                       const std::map<std::string, Key>& keys) {
  for (const auto& [key, node] : table) {
    const std::string name = prefix + std::string(key.str());
    const toml::table* inner = node.as_table();
    if (inner != nullptr && IsSection(name, keys)) {
      absl::Status status = ReadTable(path, name + ".", *inner, keys);
      if (!status.ok()) return status;
      continue;
    }
    const auto it = keys.find(name);
    if (it == keys.end()) {
      return absl::InvalidArgumentError(
          absl::StrCat(Place(path, node.source()), ": unknown key ", name));
    }
    if (!it->second.set(node)) {
      return absl::InvalidArgumentError(
          absl::StrCat(Place(path, node.source()), ": ", name, ": expected ", it->second.expected));
    }
  }
  return absl::OkStatus();
}

}  // namespace

absl::StatusOr<ClockMode> ReadClockMode(const std::string& word) {
  if (word == "wall") return ClockMode::kWall;
  if (word == "events") return ClockMode::kEvents;
  return absl::InvalidArgumentError(absl::StrCat("clock: expected wall or events, not ", word));
}

absl::Status ReadSettingsFile(const std::string& path, Settings& settings) {
  std::error_code error;
  if (std::filesystem::is_directory(path, error)) {
    return absl::InvalidArgumentError(absl::StrCat(path, ": is a directory"));
  }
  try {
    return ReadTable(path, "", toml::parse_file(path), KeysOf(settings));
  } catch (const toml::parse_error& bad) {
    return absl::InvalidArgumentError(
        absl::StrCat(Place(path, bad.source()), ": ", std::string(bad.description())));
  }
}

absl::Status CompleteSettings(Settings& settings) {
  if (settings.data_directory.empty()) {
    return absl::InvalidArgumentError(
        "data_directory: expected a directory, by --data DIR or in the settings file");
  }
  if (settings.listen.empty()) {
    settings.listen = {absl::StrCat("unix:", settings.data_directory, "/plumblane.sock"),
                       kDefaultAddress};
  }
  if (absl::Status status = CheckListen(settings.listen, settings.access); !status.ok()) {
    return status;
  }
  if (settings.access.audit_file.empty()) {
    settings.access.audit_file = settings.data_directory + "/audit.ndjson";
  }
  if (const std::string& listen = settings.metrics.listen; !listen.empty()) {
    if (absl::StartsWith(listen, "unix:") || absl::StartsWith(listen, "tls:") ||
        !CheckListen({listen}, settings.access).ok()) {
      return absl::InvalidArgumentError(absl::StrCat(
          "metrics.listen: expected HOST:PORT with 127.0.0.1, localhost or [::1] and a port up to "
          "65535, not ",
          listen));
    }
  }
  if (absl::Status status = CompleteDelivery(settings.delivery); !status.ok()) return status;
  if (absl::Status status = CompleteCluster(settings.listen, settings.cluster); !status.ok()) {
    return status;
  }
  if (settings.cluster.follow == "owned" && !settings.snapshot.directory.empty()) {
    return absl::InvalidArgumentError(
        "cluster.follow: a daemon that does not hold all cannot write files of all "
        "(snapshot.directory): expected all");
  }
  static constexpr absl::string_view kLevels[] = {"trace",   "debug", "info",
                                                  "warning", "error", "off"};
  for (const absl::string_view level : kLevels) {
    if (level == settings.log_level) return absl::OkStatus();
  }
  return absl::InvalidArgumentError(absl::StrCat(
      "log_level: expected trace, debug, info, warning, error or off, not ", settings.log_level));
}

}  // namespace plumblane
