// All watches of a fleet, kept up to date as cells change.
//
// What they show is a function of the cells, the days users accepted, the settings and the horizon:
// in whatever order events came, and after a restart, they show the same. What is kept only saves
// watching all days anew. Watched are:
//   each lane (over its services)   late; not shipped, not delivered within its usual time
//   each supplier                   the same, late without excused orders; defects by
//                                   kClaimWatchDays; unsafe and counterfeit items; silence
//   pools of slow lanes (pool.h)    late. Members are those of the month of each day. Their lanes
//                                   are charted alone as well: that costs few false alarms, since
//                                   so slow a chart has hardly any to give
// A day is taken once it has settled everywhere: the last one is the day before the horizon's. The
// horizon never falls: when the clock or a feed's news go back, what is known stays.
//
// An entry costs the writer a note of which days of which pairs changed. Update then advances every
// chart to the last settled day, and replays those whose taken days changed, whose accepted days or
// pairs changed, or whose month is believed to be different (alert_months.h). A day of 10,000 lanes
// and the first replay are measured in tests/bench.
//
// Thread-safe: one writer notes changes, any thread updates or reads; those wait for each other.
#pragma once

#include <absl/status/statusor.h>

#include <array>
#include <atomic>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "alerting/cusum.h"
#include "alerting/subjects.h"
#include "alerting/watch.h"
#include "cohorts/cell.h"
#include "engine/alert_months.h"
#include "engine/alerts_told.h"
#include "engine/catalog.h"
#include "engine/cell_changes.h"

namespace plumblane {

// What the daemon's settings say of alerts.
struct AlertRules {
  double odds_ratio = 3;            // worth an alert; 1.5 to 10
  double false_alarms_a_year = .1;  // accepted of each chart, > 0
  bool operator==(const AlertRules&) const = default;
};

class AlertBook {
 public:
  // The state to watch. The rules and settings are the same on every call.
  struct Source {
    uint64_t sequence = 0;
    std::shared_ptr<const PairDirectory> pairs;
    std::shared_ptr<const AlertsTold> told;
    ReadMeasures read;
    Instant now, horizon;
    AlertRules rules;
    double half_life_days = 45;  // of scores
    int64_t settle_delay_millis = kMillisPerDay;
    std::function<bool()> give_up = {};  // asked now and then
  };

  // Errors: those of `read`; CANCELLED once `give_up` says so. After one there is no news until an
  // update has come to its end.
  absl::Status Update(const Source& source);

  // What there is to tell after Update, given what was told.
  std::vector<AlertNotice> News(const AlertsTold& told, Instant now) const;

  struct Shown {
    WatchKey key;
    std::vector<Lane> pooled;  // of a pool, in the last month
    std::optional<Plan> plan;  // none: nothing is watched yet
    bool warning = false;
    std::optional<Day> next_day;  // not taken yet; none before the first order
  };
  // The charts, ascending.
  std::vector<Shown> Watches() const;
  // The last day that this watch has taken; none for what has no chart.
  std::optional<Day> LastTaken(const WatchKey& key) const;
  // Expected of all charts together, after the last update; waits for none.
  double FalseAlarmsAYear() const { return false_alarms_a_year_; }

  // As for SeriesCache.
  void Note(uint64_t sequence, const CellChanges& changes);

 private:
  using FirstDays = std::array<Day, kMeasureCount>;  // the earliest changed, by measure
  struct Change {
    uint64_t sequence = 0;
    FirstDays first;
  };
  struct Chart {
    ChartKind kind = ChartKind::kLate;
    Watch watch;
    std::vector<Day> accepted = {};
    std::map<Day, std::optional<DesignBasis>> bases = {};  // by month, as asked for
    UsualTime usual = {};
    std::vector<DayCount> counted = {};  // SeriesSubject::counted
    bool again = true;                   // to be replayed
  };
  // A supplier, lane or pool: a key whose measure says nothing.
  struct Watched {
    std::vector<Pair> pairs;
    std::map<Day, std::vector<Lane>> months;  // of a pool: its lanes
    std::map<AlertMeasure, Chart> charts;
    std::map<AlertMeasure, std::vector<Alert>> reports;
    std::optional<std::vector<Day>> event_days;  // of a supplier; none = to be found again
    bool fresh = true;
  };

  // What an update works on.
  struct Round {
    const Source& source;
    std::map<Pair, Change> changed;
    std::set<Day> made;  // months
    bool is_new_day = false, is_told_anew = false;
  };

  absl::Status UpdateAll(Round& round);
  void Arrange(const PairDirectory& pairs);
  void ArrangePools(const PairDirectory& pairs);
  void Put(const WatchKey& key, std::vector<Pair> pairs);
  absl::Status UpdateOne(const Round& round, const WatchKey& key, Watched& watched);
  void UpdateChart(const Round& round, const WatchKey& key, const Watched& watched, Chart& chart,
                   const std::vector<Measures>& cells, const FirstDays& first);
  void UpdateReports(Watched& watched, const std::vector<Measures>& cells);
  std::optional<DesignBasis> BasisOf(const WatchKey& key, const Watched& watched, ChartKind kind,
                                     const std::vector<Measures>& cells, Day month) const;

  mutable std::mutex mutex_;  // held during an update
  std::shared_ptr<const PairDirectory> pairs_;
  std::map<WatchKey, Watched> watched_;
  std::optional<AlertMonths> months_;
  ChartDesigns designs_;
  std::shared_ptr<const AlertsTold> told_;
  std::optional<Instant> horizon_;
  std::optional<Day> last_, today_;  // no last one after an update that failed
  std::atomic<double> false_alarms_a_year_ = 0;

  std::mutex noted_mutex_;
  std::map<Pair, Change> noted_;  // guarded by noted_mutex_
};

}  // namespace plumblane
