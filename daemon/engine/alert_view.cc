#include <algorithm>

#include "engine/alert_months.h"
#include "engine/view.h"

namespace plumblane {
namespace {

std::optional<ChartKind> ChartOf(AlertMeasure measure) {
  switch (measure) {
    case AlertMeasure::kOnTime:
      return ChartKind::kLate;
    case AlertMeasure::kDefect:
      return ChartKind::kDefect;
    case AlertMeasure::kHandling:
      return ChartKind::kNotShipped;
    case AlertMeasure::kDelivery:
      return ChartKind::kNotDelivered;
    case AlertMeasure::kUnsafe:
    case AlertMeasure::kCounterfeit:
    case AlertMeasure::kSilence:
      break;
  }
  return std::nullopt;
}

}  // namespace

absl::Status View::UpdateAlerts(const std::function<bool()>& give_up) const {
  AlertBook::Source source;
  source.sequence = catalog_->log_sequence;
  source.pairs = catalog_->pairs;
  source.told = catalog_->alerts;
  Snapshot::Scanner cells;
  source.read = [&](const Pair& pair, bool again) -> absl::StatusOr<Measures> {
    // A month is made from all pairs, which can take longer than a stop may.
    if (give_up && give_up()) return absl::CancelledError("no longer wanted");
    if (again) return Read(pair);
    if (auto kept = memory_->series.Peek(catalog_->log_sequence, pair)) return kept;
    if (!cells) cells = snapshot_->ScannerOf(Space::kCells);
    auto measures = ReadPair(cells, pair, kLastMeasure);
    if (!measures.ok()) return measures.status();
    return std::make_shared<const MeasureSet>(*std::move(measures));
  };
  source.now = now_;
  source.horizon = MomentOf({}).horizon;
  source.rules = rules_.alerts;
  source.half_life_days = rules_.half_life_days;
  source.settle_delay_millis = rules_.settle_delay_millis;
  source.give_up = give_up;
  return memory_->alerts.Update(source);
}

absl::StatusOr<AlertEvidence> View::EvidenceOf(const ToldAlert& alert) const {
  AlertEvidence evidence;
  const auto kind = ChartOf(alert.key.measure);
  if (!kind) {
    evidence.orders = alert.facts.orders;
    evidence.hits = alert.facts.hits;
    return evidence;
  }
  const Scope scope = alert.key.supplier.empty() ? Scope::kWithExcused : Scope::kCounted;
  const Measure measure = MeasureOf(*kind);
  const Moment moment = MomentOf({});
  std::vector<Pair> pairs;
  SeriesParts parts;
  for (const Pair& pair : catalog_->pairs->by_supplier) {
    if (!alert.Covers(pair)) continue;
    auto cells = Read(pair);
    if (!cells.ok()) return cells.status();
    pairs.push_back(pair);
    parts.emplace_back(*cells, &(**cells)[measure]);
  }
  std::optional<uint32_t> usual;
  if (*kind == ChartKind::kNotShipped || *kind == ChartKind::kNotDelivered) {
    const Instant start = StartOf(alert.chart.designed);
    usual = UsualBucket(*kind, parts, scope,
                        {start, start - rules_.settle_delay_millis, alert.chart.designed - 1},
                        rules_.half_life_days);
    if (!usual) return evidence;
  }
  const Day last = alert.facts.closed.value_or(DayOf(moment.horizon) - 1);
  for (size_t i = 0; i < pairs.size(); ++i) {
    AlertShare share{pairs[i]};
    for (const DayCount& count :
         CountDays(*kind, *parts[i], scope, moment.horizon, usual, alert.facts.changed, last)) {
      share.orders += count.orders;
      share.hits += count.hits;
    }
    if (share.orders == 0) continue;
    evidence.orders += share.orders;
    evidence.hits += share.hits;
    evidence.shares.push_back(std::move(share));
  }
  std::stable_sort(evidence.shares.begin(), evidence.shares.end(),
                   [](const AlertShare& x, const AlertShare& y) { return x.hits > y.hits; });
  return evidence;
}

}  // namespace plumblane
