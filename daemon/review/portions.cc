#include "review/portions.h"

#include <algorithm>
#include <vector>

#include "ranking/shares.h"

namespace plumblane {

void Portions::Add(const std::string& supplier, const Figures& figures) {
  if (figures.order_count > 0) orders[supplier] += figures.order_count;
  for (const auto& [currency, money] : figures.money) {
    if (money.paid != 0) paid[supplier][currency] += money.paid;
  }
}

void Portions::Add(const Portions& other) {
  for (const auto& [supplier, count] : other.orders) orders[supplier] += count;
  for (const auto& [supplier, sums] : other.paid) {
    for (const auto& [currency, sum] : sums) paid[supplier][currency] += sum;
  }
}

Shares::Shares(const Portions& portions, const Worth& worth) : paid_(Amounts()) {
  for (const auto& [supplier, count] : portions.orders) {
    orders_[supplier] = static_cast<double>(count);
    all_orders_ += static_cast<double>(count);
  }
  for (const auto& [supplier, sums] : portions.paid) {
    for (const auto& [currency, sum] : sums) {
      const std::optional<double> amount = worth({sum, currency});
      if (!amount) {
        paid_.reset();
        return;
      }
      (*paid_)[supplier] += *amount;
      all_paid_ += *amount;
    }
  }
}

std::optional<double> Shares::ShareOf(const std::string& supplier, const Amounts& amounts,
                                      double total) {
  if (total <= 0) return std::nullopt;
  const auto found = amounts.find(supplier);
  return found == amounts.end() ? 0 : found->second / total;
}

std::optional<double> Shares::Concentration(const Amounts& amounts) {
  std::vector<double> portions;
  for (const auto& [supplier, amount] : amounts) portions.push_back(std::max(0.0, amount));
  const double index = ConcentrationIndex(portions);
  return index > 0 ? std::optional(index) : std::nullopt;
}

void Shares::Put(const std::string& supplier, Figures& figures) const {
  figures.order_share = ShareOf(supplier, orders_, all_orders_);
  if (paid_) figures.money_share = ShareOf(supplier, *paid_, all_paid_);
}

void Shares::PutConcentration(Figures& figures) const {
  figures.order_concentration = Concentration(orders_);
  if (paid_) figures.money_concentration = Concentration(*paid_);
}

}  // namespace plumblane
