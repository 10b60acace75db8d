#include "engine/review.h"

#include <algorithm>

namespace plumblane {

void AssignedCount::Add(const AssignedCount& other) {
  count += other.count;
  trials += other.trials;
  chosen += other.chosen;
  for (const auto& [currency, saving] : other.savings) {
    savings[currency].first += saving.first;
    savings[currency].second += saving.second;
  }
}

std::vector<AlertMark> AlertMarksOf(const AlertsTold& told, const Account& account,
                                    const Period& period, Day last) {
  std::vector<AlertMark> marks;
  const auto is_of = [&](const WatchKey& key) {
    if (account.IsSupplier()) return key.supplier == account.supplier;
    return !account.IsPair() && account.lane && key.supplier.empty() &&
           key.origin == account.lane->origin && key.destination == account.lane->destination;
  };
  for (const auto& [id, alert] : told.by_id) {
    if (alert.unfounded || !is_of(alert.key)) continue;
    // A report made before the promised day is counted on it.
    const Day raised = DayOf(alert.raise_time);
    AlertMark mark{id,
                   alert.key.measure,
                   std::min(alert.facts.changed, raised),
                   std::min(alert.facts.opened, raised),
                   alert.facts.closed,
                   {},
                   {}};
    if (std::min(last, period.last) < mark.opened) continue;
    if (mark.closed && *mark.closed < period.first) continue;
    if (mark.closed && last < *mark.closed) mark.closed.reset();
    if (alert.key.measure <= AlertMeasure::kDelivery && alert.facts.orders > 0) {
      mark.rate_before = alert.chart.normal_rate;
      mark.rate_since =
          static_cast<double>(alert.facts.hits) / static_cast<double>(alert.facts.orders);
    }
    marks.push_back(std::move(mark));
  }
  std::stable_sort(marks.begin(), marks.end(),
                   [](const AlertMark& x, const AlertMark& y) { return x.opened < y.opened; });
  return marks;
}

}  // namespace plumblane
