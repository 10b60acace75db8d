// The daemon's settings: defaults, then the file, then the command line.
//
// deploy/plumblane.toml explains every key with unit, default and consequence.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <vector>

#include "app/access_settings.h"
#include "app/cluster_settings.h"
#include "app/delivery_settings.h"
#include "engine/engine.h"
#include "publish/metrics.h"
#include "publish/snapshot_writer.h"

namespace plumblane {

struct Settings {
  std::string data_directory;
  // "unix:PATH", "HOST:PORT" on this machine, or "tls:HOST:PORT".
  std::vector<std::string> listen;
  std::string log_level = "info";
  int64_t shutdown_seconds = 10;
  int64_t block_cache_mib = 64;
  int64_t write_buffer_mib = 64;
  int64_t orders_days = 0;  // kept after they are over; 0 = for good
  std::string anchor;       // "" = DATA/anchor
  // With less room no events are taken; negative: as the size of the disk says (disk_watch.h).
  int64_t least_free_mib = -1;
  EngineOptions engine;
  AccessSettings access;
  DeliverySettings delivery;
  ClusterSettings cluster;
  SnapshotOptions snapshot;
  MetricOptions metrics;
};

// Reads a TOML file over `settings`. Errors name file, line and key: not readable, not TOML, an
// unknown key, a value of the wrong type or out of range.
absl::Status ReadSettingsFile(const std::string& path, Settings& settings);

// Checks what must hold whatever the source, reads the secrets that it names, and fills in the
// default listeners (unix:DATA/plumblane.sock and 127.0.0.1:7437).
absl::Status CompleteSettings(Settings& settings);

absl::StatusOr<ClockMode> ReadClockMode(const std::string& word);

}  // namespace plumblane
