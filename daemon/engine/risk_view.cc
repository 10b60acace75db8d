#include <absl/strings/str_cat.h>

#include <set>

#include "engine/view.h"
#include "ranking/shares.h"
#include "scoring/underway.h"

namespace plumblane {
namespace {

constexpr double kMillisPerDayReal = 86'400'000;

// Sums of one code in the cells from `first` on.
void AddSums(const Series& series, Code code, Day first, Sums& sums) {
  for (auto cohort = series.rbegin(); cohort != series.rend() && first <= cohort->day; ++cohort) {
    for (const Tally* tally : {&cohort->cell.counted, &cohort->cell.excused}) {
      for (const Outcome& outcome : tally->outcomes) {
        if (outcome.code == code) sums[UnpackCurrency(outcome.bucket)] += outcome.count;
      }
    }
  }
}

void AddCharges(const Series& money, Day first, std::map<std::string, Charges>& charges) {
  Sums orders, charged, quoted;
  AddSums(money, Code::kQuotedOrders, first, orders);
  AddSums(money, Code::kQuotedCost, first, charged);
  AddSums(money, Code::kQuoted, first, quoted);
  for (const auto& [currency, count] : orders) {
    Charges& one = charges[currency];
    one.order_count += count;
    one.charged += charged[currency];
    one.quoted += quoted[currency];
  }
}

int64_t EnteredSince(const Series& series, Day first) {
  int64_t count = 0;
  for (auto cohort = series.rbegin(); cohort != series.rend() && first <= cohort->day; ++cohort) {
    count += cohort->cell.counted.entered + cohort->cell.excused.entered;
  }
  return count;
}

// The currency that shares of money are counted in; "" with the reason.
std::string CurrencyOf(const std::vector<SupplierRisk>& suppliers, const Agreements& agreements,
                       std::string& problem) {
  if (!agreements.costs.currency.empty()) return agreements.costs.currency;
  std::set<std::string> currencies;
  for (const SupplierRisk& one : suppliers) {
    for (const auto& [currency, sum] : one.paid) currencies.insert(currency);
  }
  if (currencies.size() == 1) return *currencies.begin();
  if (currencies.size() > 1) {
    problem = "orders were paid in several currencies; cost settings say which one counts";
  }
  return "";
}

absl::StatusOr<double> Total(const Sums& sums, const std::string& currency,
                             const Agreements& agreements, Day today) {
  double total = 0;
  for (const auto& [from, sum] : sums) {
    const auto converted = agreements.exchange.Convert({sum, from}, currency, today);
    if (!converted.ok()) return converted.status();
    total += static_cast<double>(converted->money.minor_units);
  }
  return total;
}

void Share(RiskAnswer& answer, const Agreements& agreements, Day today) {
  std::vector<double> orders, money;
  double all_orders = 0, all_money = 0;
  answer.currency = CurrencyOf(answer.suppliers, agreements, answer.money_problem);
  for (const SupplierRisk& one : answer.suppliers) {
    orders.push_back(static_cast<double>(one.order_count));
    all_orders += orders.back();
    if (answer.currency.empty()) continue;
    const auto total = Total(one.paid, answer.currency, agreements, today);
    if (!total.ok()) {
      answer.currency.clear();
      answer.money_problem = std::string(total.status().message());
      continue;
    }
    money.push_back(*total);
    all_money += *total;
  }
  if (all_orders > 0) answer.order_concentration = ConcentrationIndex(orders);
  const bool money_known = !answer.currency.empty() && all_money > 0;
  if (money_known) answer.money_concentration = ConcentrationIndex(money);
  for (size_t i = 0; i < answer.suppliers.size(); ++i) {
    if (all_orders > 0) answer.suppliers[i].order_share = orders[i] / all_orders;
    if (money_known) answer.suppliers[i].money_share = money[i] / all_money;
  }
}

}  // namespace

absl::StatusOr<SupplierRisk> View::WaitingFor(const std::string& supplier,
                                              std::span<const Pair> pairs) const {
  const Moment moment = MomentOf({});
  SupplierRisk one;
  one.supplier = supplier;
  for (const Pair& pair : pairs) {
    const auto measures = Read(pair);
    if (!measures.ok()) return measures.status();
    const MeasureSet& cells = **measures;
    one.underway_count +=
        UnderwayCount(cells[Measure::kUnderway], Scope::kWithExcused, moment, cells.kept.get());
    // From here on nothing is lost yet, as for UnderwayCount.
    AddSums(cells[Measure::kExposure], Code::kCost,
            DayOf(moment.horizon) - rules_.fold.lost_after_days, one.exposure);
  }
  const auto heard = LastHeard(supplier);
  if (!heard.ok()) return heard.status();
  one.last_event = *heard;
  if (one.last_event && one.underway_count > 0) {
    one.silent_days = static_cast<double>(now_ - *one.last_event) / kMillisPerDayReal;
  }
  return one;
}

absl::StatusOr<RiskAnswer> View::Risk(int days) const {
  const Day today = DayOf(now_);
  RiskAnswer answer;
  for (const Pair& pair : catalog_->pairs->by_supplier) {
    if (answer.suppliers.empty() || answer.suppliers.back().supplier != pair.supplier) {
      auto waiting = WaitingFor(pair.supplier, PairsOf({pair.supplier, std::nullopt}));
      if (!waiting.ok()) return waiting.status();
      answer.suppliers.push_back(*std::move(waiting));
    }
    SupplierRisk& one = answer.suppliers.back();
    const auto measures = Read(pair);
    if (!measures.ok()) return measures.status();
    const Series& money = (**measures)[Measure::kMoney];
    one.order_count += EnteredSince(money, today - days + 1);
    AddSums(money, Code::kCost, today - days + 1, one.paid);
    AddCharges(money, today - days + 1, one.charges);
  }
  Share(answer, *catalog_->agreements, today);
  return answer;
}

}  // namespace plumblane
