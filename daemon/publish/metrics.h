// The metrics: how the daemon is, and how the suppliers with most orders do.
//
// Their number is bounded whatever the fleet: scores of so many suppliers as are asked for, those
// with most orders (settled and under way), and of the others their number and the sum of their
// orders; the sources that have been silent longest, 20 at most. Scores are read at most once a
// minute. Everything that the fleet has is told by `plumblane export scores`.
#pragma once

#include <prometheus/collectable.h>

#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "delivery/deliverer.h"
#include "engine/desk.h"
#include "publish/metric_sheet.h"
#include "publish/snapshot_writer.h"
#include "publish/timed_log.h"
#include "service/intake_service.h"

namespace plumblane {

struct MetricOptions {
  std::string listen;  // "HOST:PORT" on this machine; "" = none
  int64_t suppliers = 20;
};

class Metrics final : public prometheus::Collectable {
 public:
  // All that is read; each must outlive it.
  struct Sources {
    const Desk& engine;
    const Deliverer& deliverer;
    const IntakeService::Totals& intake;
    const TimedLog& log;
    const SnapshotWriter& snapshots;
    std::string data_directory;
    std::string version;
    size_t queue_events = 0;  // as many may wait
    size_t suppliers = 0;
    // By the setting that names it: until when it is valid.
    std::vector<std::pair<std::string, Instant>> certificates = {};
  };
  explicit Metrics(Sources sources)
      : sources_(std::move(sources)), started_(sources_.engine.WallNow()) {}

  // Thread-safe.
  std::vector<prometheus::MetricFamily> Collect() const override;

 private:
  struct SupplierFigures {
    std::string supplier;
    std::optional<double> on_time, defect, delivery_seconds;
    int64_t settled = 0, underway = 0, overdue = 0;
  };
  void AddProcess(MetricSheet& sheet) const;
  void AddIntake(MetricSheet& sheet) const;
  // Nothing where the log is not shared.
  void AddSharedLog(MetricSheet& sheet) const;
  void AddSources(const View& view, MetricSheet& sheet) const;
  void AddDisk(MetricSheet& sheet) const;
  void AddAlerts(const View& view, MetricSheet& sheet) const;
  void AddSnapshot(MetricSheet& sheet) const;
  void AddSuppliers(const View& view, MetricSheet& sheet) const;

  const Sources sources_;
  const Instant started_;
  mutable std::mutex mutex_;
  // Guarded by mutex_; by orders, most first.
  mutable std::vector<SupplierFigures> suppliers_;
  mutable std::optional<Instant> suppliers_read_;
};

}  // namespace plumblane
