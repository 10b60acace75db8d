#include "engine/review.h"

#include <algorithm>
#include <set>

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

ReviewCurrency ChooseCurrency(const Portions& portions, const std::string& of_costs,
                              bool to_share) {
  if (!of_costs.empty()) return {of_costs, ""};
  std::set<std::string> currencies;
  for (const auto& [supplier, sums] : portions.paid) {
    for (const auto& [currency, sum] : sums) currencies.insert(currency);
  }
  if (currencies.size() == 1) return {*currencies.begin(), ""};
  if (currencies.empty()) return {};
  const std::string problem = "orders were paid in several currencies";
  return {"", to_share ? problem : problem + "; cost settings say which one counts"};
}

std::vector<AlertMark> AlertMarksOf(const AlertsTold& told, const Account& account,
                                    const Period& period, Day last) {
  std::vector<AlertMark> marks;
  const auto is_of = [&](const ToldAlert& alert) {
    const WatchKey& key = alert.key;
    if (account.IsSupplier()) return key.supplier == account.supplier;
    if (account.IsPair() || !account.lane || !key.supplier.empty()) return false;
    const auto is_lane = [&](const std::string& origin, const std::string& destination) {
      return origin == account.lane->origin && destination == account.lane->destination;
    };
    return is_lane(key.origin, key.destination) ||
           std::any_of(alert.pooled.begin(), alert.pooled.end(),
                       [&](const Lane& lane) { return is_lane(lane.origin, lane.destination); });
  };
  for (const auto& [id, alert] : told.by_id) {
    if (alert.unfounded || !is_of(alert)) continue;
    // A report made before the promised day is counted on it.
    const Day raised = DayOf(alert.raise_time);
    AlertMark mark{id,
                   alert.key.measure,
                   std::min(alert.facts.changed, raised),
                   std::min(alert.facts.opened, raised),
                   alert.facts.closed,
                   {},
                   {},
                   alert.key.IsPool() ? alert.key.origin : "",
                   alert.key.IsPool() ? alert.key.destination : "",
                   alert.pooled.size()};
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
