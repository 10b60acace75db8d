#include "engine/alert_book.h"

#include <algorithm>
#include <set>
#include <utility>

#include "alerting/baseline.h"
#include "engine/alert_reports.h"

namespace plumblane {
namespace {

constexpr Day kNever{INT32_MAX};

AlertMeasure MeasureOfChart(ChartKind kind) {
  switch (kind) {
    case ChartKind::kLate:
      return AlertMeasure::kOnTime;
    case ChartKind::kDefect:
      return AlertMeasure::kDefect;
    case ChartKind::kNotShipped:
      return AlertMeasure::kHandling;
    case ChartKind::kNotDelivered:
      return AlertMeasure::kDelivery;
  }
  return AlertMeasure::kOnTime;
}

std::vector<ChartKind> KindsOf(const WatchKey& key) {
  if (key.IsPool()) return {ChartKind::kLate};
  if (key.supplier.empty()) {
    return {ChartKind::kLate, ChartKind::kNotShipped, ChartKind::kNotDelivered};
  }
  return {ChartKind::kLate, ChartKind::kDefect, ChartKind::kNotShipped, ChartKind::kNotDelivered};
}

WatchKey With(WatchKey key, AlertMeasure measure) {
  key.measure = measure;
  return key;
}

bool Holds(const std::vector<Lane>& lanes, const Lane& lane) {
  return std::binary_search(lanes.begin(), lanes.end(), Lane{lane.origin, lane.destination, ""});
}

// The days of a lane on which it was in the pool.
std::shared_ptr<const Series> InPool(const std::shared_ptr<const Series>& all, const Lane& lane,
                                     const std::map<Day, std::vector<Lane>>& months) {
  auto some = std::make_shared<Series>();
  for (const Cohort& cohort : *all) {
    const auto month = months.find(MonthStart(cohort.day));
    if (month != months.end() && Holds(month->second, lane)) some->push_back(cohort);
  }
  return some;
}

}  // namespace

void AlertBook::Note(uint64_t sequence, const CellChanges& changes) {
  std::lock_guard lock(noted_mutex_);
  for (const PairChange& one : changes) {
    const auto [it, is_new] = noted_.try_emplace(one.pair);
    Change& change = it->second;
    change.sequence = sequence;
    if (is_new) change.first.fill(kNever);
    for (const CellChange& cell : one.cells) {
      Day& first = change.first[static_cast<size_t>(IndexOf(cell.measure))];
      first = std::min(first, cell.day);
    }
  }
}

void AlertBook::Put(const WatchKey& key, std::vector<Pair> pairs) {
  Watched& watched = watched_[key];
  if (watched.pairs == pairs) return;
  watched.pairs = std::move(pairs);
  watched.fresh = true;
}

// Lanes and suppliers of the directory; what is in it no more is watched no more.
void AlertBook::Arrange(const PairDirectory& pairs) {
  std::map<WatchKey, std::vector<Pair>> wanted;
  for (const Pair& pair : pairs.by_supplier) {
    wanted[{pair.supplier, "", ""}].push_back(pair);
    wanted[{"", pair.lane.origin, pair.lane.destination}].push_back(pair);
  }
  std::erase_if(watched_, [&](const auto& one) {
    return !one.first.IsPool() && !wanted.contains(one.first);
  });
  for (auto& [key, own] : wanted) Put(key, std::move(own));
}

void AlertBook::ArrangePools(const PairDirectory& pairs) {
  std::map<WatchKey, std::map<Day, std::vector<Lane>>> wanted;
  for (const auto& [month, pools] : months_->Pools()) {
    for (const LanePool& pool : pools) {
      const bool by_origin = pool.by == LanePool::By::kOrigin;
      const WatchKey key{"", by_origin ? pool.end : "", by_origin ? "" : pool.end};
      wanted[key][month] = pool.lanes;
    }
  }
  std::erase_if(watched_,
                [&](const auto& one) { return one.first.IsPool() && !wanted.contains(one.first); });
  for (auto& [key, months] : wanted) {
    std::vector<Pair> own;
    for (const Pair& pair : pairs.by_supplier) {
      const bool is_member = std::any_of(months.begin(), months.end(), [&](const auto& month) {
        return Holds(month.second, pair.lane);
      });
      if (is_member) own.push_back(pair);
    }
    Put(key, std::move(own));
    Watched& pool = watched_[key];
    if (pool.months == months) continue;
    pool.months = std::move(months);
    pool.fresh = true;
  }
}

absl::Status AlertBook::Update(const Source& source) {
  std::lock_guard lock(mutex_);
  Round round{source, {}, {}};
  {
    std::lock_guard noting(noted_mutex_);
    round.changed = noted_;
  }
  if (!horizon_ || *horizon_ < source.horizon) horizon_ = source.horizon;
  const Day last = DayOf(*horizon_) - 1, today = DayOf(source.now);
  round.is_new_day = last_ != last || today_ != today;
  round.is_told_anew = told_ != source.told;
  if (!round.is_new_day && !round.is_told_anew && round.changed.empty()) return absl::OkStatus();
  last_ = last;
  today_ = today;
  if (absl::Status status = UpdateAll(round); !status.ok()) {
    // What this round has noted is lost to the next: all is watched anew.
    for (auto& [key, watched] : watched_) watched.fresh = true;
    last_.reset();
    return status;
  }
  pairs_ = source.pairs;
  told_ = source.told;
  double false_alarms = 0;
  for (const auto& [key, watched] : watched_) {
    for (const auto& [measure, chart] : watched.charts) {
      if (chart.watch.plan()) false_alarms += chart.watch.plan()->FalseAlarmsAYear();
    }
  }
  false_alarms_a_year_ = false_alarms;
  std::lock_guard noting(noted_mutex_);
  for (const auto& [pair, change] : round.changed) {
    const auto it = noted_.find(pair);
    if (it->second.sequence == change.sequence && change.sequence <= source.sequence) {
      noted_.erase(it);
    }
  }
  return absl::OkStatus();
}

absl::Status AlertBook::UpdateAll(Round& round) {
  const Source& source = round.source;
  if (!months_) {
    months_.emplace(AlertMonths::Rules{source.half_life_days, source.settle_delay_millis});
  }
  std::optional<Day> changed;  // of rates
  for (const auto& [pair, change] : round.changed) {
    for (const Measure measure : {Measure::kOnTime, Measure::kDefect}) {
      const Day day = change.first[static_cast<size_t>(IndexOf(measure))];
      if (day != kNever && (!changed || day < *changed)) changed = day;
    }
  }
  auto made = months_->Update(*source.pairs, source.read, *last_, changed);
  if (!made.ok()) return made.status();
  round.made = *std::move(made);
  const bool rearranged = pairs_ != source.pairs;
  if (rearranged) Arrange(*source.pairs);
  if (rearranged || !round.made.empty()) ArrangePools(*source.pairs);
  for (auto& [key, watched] : watched_) {
    if (source.give_up && source.give_up()) return absl::CancelledError("no longer wanted");
    if (absl::Status status = UpdateOne(round, key, watched); !status.ok()) return status;
  }
  return absl::OkStatus();
}

absl::Status AlertBook::UpdateOne(const Round& round, const WatchKey& key, Watched& watched) {
  FirstDays first;
  first.fill(kNever);
  bool dirty = watched.fresh;
  for (const Pair& pair : watched.pairs) {
    const auto change = round.changed.find(pair);
    if (change == round.changed.end()) continue;
    dirty = true;
    for (size_t i = 0; i < first.size(); ++i)
      first[i] = std::min(first[i], change->second.first[i]);
  }
  if (!dirty && !round.is_new_day && !round.is_told_anew && round.made.empty()) {
    return absl::OkStatus();
  }
  std::vector<Measures> cells;
  for (const Pair& pair : watched.pairs) {
    // What events change goes on changing; a new day, and a start, read all pairs once.
    auto read = round.source.read(pair, /*again=*/pairs_ && round.changed.contains(pair));
    if (!read.ok()) return read.status();
    cells.push_back(*std::move(read));
  }
  const WatchRules rules{round.source.rules.odds_ratio, round.source.rules.false_alarms_a_year,
                         kBaselineHalfLives * round.source.half_life_days};
  for (const ChartKind kind : KindsOf(key)) {
    const auto at =
        watched.charts.try_emplace(MeasureOfChart(kind), Chart{kind, Watch(rules)}).first;
    if (watched.fresh) at->second.again = true;
    UpdateChart(round, With(key, at->first), watched, at->second, cells, first);
  }
  if (dirty) watched.event_days.reset();
  if (!key.supplier.empty() && (dirty || round.is_new_day)) UpdateReports(watched, cells);
  watched.fresh = false;
  return absl::OkStatus();
}

std::optional<DesignBasis> AlertBook::BasisOf(const WatchKey& key, const Watched& watched,
                                              ChartKind kind, const std::vector<Measures>& cells,
                                              Day month) const {
  const Scope scope = key.supplier.empty() ? Scope::kWithExcused : Scope::kCounted;
  const Measure which = kind == ChartKind::kDefect ? Measure::kDefect : Measure::kOnTime;
  if (!key.IsPool()) return months_->BasisOf(month, watched.pairs, cells, scope, which);
  const auto members = watched.months.find(month);
  if (members == watched.months.end()) return std::nullopt;
  std::vector<Pair> pairs;
  std::vector<Measures> own;
  for (size_t i = 0; i < watched.pairs.size(); ++i) {
    if (!Holds(members->second, watched.pairs[i].lane)) continue;
    pairs.push_back(watched.pairs[i]);
    own.push_back(cells[i]);
  }
  return months_->BasisOf(month, pairs, own, scope, which);
}

void AlertBook::UpdateChart(const Round& round, const WatchKey& key, const Watched& watched,
                            Chart& chart, const std::vector<Measures>& cells,
                            const FirstDays& first) {
  const Measure measure = MeasureOf(chart.kind);
  const auto changed_before = [&](Measure one, Day day) {
    return first[static_cast<size_t>(IndexOf(one))] < day;
  };
  const auto next = chart.watch.next_day();
  if (next && changed_before(measure, *next)) chart.again = true;
  if (!chart.counted.empty() && changed_before(measure, chart.counted.back().day + 1)) {
    chart.counted.clear();
  }
  if (round.is_new_day || round.is_told_anew || chart.again) {
    std::vector<Day> accepted = round.source.told->AcceptedDays(key);
    std::erase_if(accepted, [this](Day day) { return day > *last_; });
    if (accepted != chart.accepted) chart.again = true;
    chart.accepted = std::move(accepted);
  }
  const bool bases_stand = round.made.empty() && !changed_before(Measure::kMoney, kNever) &&
                           !changed_before(Measure::kUnderway, kNever);
  for (auto basis = chart.bases.begin(); basis != chart.bases.end() && !bases_stand && !chart.again;
       ++basis) {
    const Day month = basis->first;
    if (!round.made.contains(month) && !changed_before(Measure::kMoney, month) &&
        !changed_before(Measure::kUnderway, month)) {
      continue;
    }
    chart.again = BasisOf(key, watched, chart.kind, cells, month) != basis->second;
  }
  if (chart.again) {
    chart.watch = Watch({round.source.rules.odds_ratio, round.source.rules.false_alarms_a_year,
                         kBaselineHalfLives * round.source.half_life_days});
    chart.bases.clear();
    chart.usual.reset();
    chart.counted.clear();
    chart.again = false;
  }
  SeriesSubject::Source subject{
      .kind = chart.kind,
      .parts = {},
      .scope = key.supplier.empty() ? Scope::kWithExcused : Scope::kCounted,
      .horizon = *horizon_,
      .settle_delay = round.source.settle_delay_millis,
      .half_life_days = round.source.half_life_days,
      .basis_on =
          [&](Day day) {
            const Day month = MonthStart(day);
            const auto known = chart.bases.find(month);
            if (known != chart.bases.end()) return known->second;
            return chart.bases[month] = BasisOf(key, watched, chart.kind, cells, month);
          },
      .usual = chart.usual,
      .counted = std::move(chart.counted)};
  for (size_t i = 0; i < cells.size(); ++i) {
    std::shared_ptr<const Series> part(cells[i], &(*cells[i])[measure]);
    if (key.IsPool()) part = InPool(part, watched.pairs[i].lane, watched.months);
    subject.parts.push_back(std::move(part));
  }
  const SeriesSubject days(std::move(subject));
  chart.watch.Advance(days, chart.accepted, *last_, designs_);
  chart.usual = days.usual();
  chart.counted = days.counted();
}

void AlertBook::UpdateReports(Watched& watched, const std::vector<Measures>& cells) {
  watched.reports[AlertMeasure::kUnsafe] = ReportAlerts(cells, Code::kUnsafe, *today_);
  watched.reports[AlertMeasure::kCounterfeit] = ReportAlerts(cells, Code::kCounterfeit, *today_);
  if (!watched.event_days) watched.event_days = DaysWithEvents(cells);
  watched.reports[AlertMeasure::kSilence] = SilenceAlerts(*watched.event_days, cells, *last_);
}

std::vector<AlertNotice> AlertBook::News(const AlertsTold& told, Instant now) const {
  std::lock_guard lock(mutex_);
  std::vector<AlertNotice> news;
  std::set<WatchKey> seen;
  using Months = std::map<Day, std::vector<Lane>>;
  const auto tell = [&](const WatchKey& key, std::span<const Alert> alerts, Day through,
                        const Months& months) {
    const bool is_known = told.by_key.contains(key);
    if (is_known) seen.insert(key);
    if (alerts.empty() && !is_known) return;
    for (AlertNotice& one : NewsOf(key, told, alerts, through, now)) {
      const auto month = months.find(MonthStart(one.facts.opened));
      if (month != months.end()) one.pooled = month->second;
      news.push_back(std::move(one));
    }
  };
  if (!last_) return news;
  for (const auto& [key, watched] : watched_) {
    for (const auto& [measure, chart] : watched.charts) {
      tell(With(key, measure), chart.watch.alerts(), *last_, watched.months);
    }
    for (const auto& [measure, alerts] : watched.reports) {
      tell(With(key, measure), alerts, measure == AlertMeasure::kSilence ? *last_ : *today_, {});
    }
  }
  // Of what no order names any more nothing that was told holds.
  for (const auto& [key, ids] : told.by_key) {
    if (!seen.contains(key)) tell(key, {}, *last_, {});
  }
  for (AlertNotice& one : ShelvesEnded(told, now)) news.push_back(std::move(one));
  return news;
}

std::vector<AlertBook::Shown> AlertBook::Watches() const {
  std::lock_guard lock(mutex_);
  std::vector<Shown> shown;
  for (const auto& [key, watched] : watched_) {
    for (const auto& [measure, chart] : watched.charts) {
      Shown& one = shown.emplace_back();
      one.key = With(key, measure);
      if (!watched.months.empty()) one.pooled = watched.months.rbegin()->second;
      one.plan = chart.watch.plan();
      one.warning = chart.watch.warning();
      one.next_day = chart.watch.next_day();
    }
  }
  return shown;
}

std::optional<Day> AlertBook::LastTaken(const WatchKey& key) const {
  std::lock_guard lock(mutex_);
  const auto watched = watched_.find(With(key, AlertMeasure::kOnTime));
  if (watched == watched_.end()) return std::nullopt;
  const auto chart = watched->second.charts.find(key.measure);
  if (chart == watched->second.charts.end()) return std::nullopt;
  return chart->second.watch.last_day();
}

}  // namespace plumblane
