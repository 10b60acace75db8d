// How much depends on whom: the shares of suppliers in orders and in money, and how concentrated
// they are (ranking/shares.h).
//
// Pure; const use is thread-safe.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>

#include "base/money.h"
#include "review/account.h"

namespace plumblane {

// An amount in minor units of the currency that amounts are compared in; none without a rate.
using Worth = std::function<std::optional<double>(const Money&)>;

// Who had how many of the orders of one period, and of what was paid for them.
struct Portions {
  std::map<std::string, int64_t> orders;  // by supplier
  std::map<std::string, MoneySums> paid;

  void Add(const std::string& supplier, const Figures& figures);
  void Add(const Portions& other);
};

// Portions with their totals. Shares of money are absent where something paid has no worth.
class Shares {
 public:
  Shares(const Portions& portions, const Worth& worth);

  // Fills order_share and money_share.
  void Put(const std::string& supplier, Figures& figures) const;
  // Fills order_concentration and money_concentration.
  void PutConcentration(Figures& figures) const;

 private:
  using Amounts = std::map<std::string, double>;  // by supplier
  static std::optional<double> ShareOf(const std::string& supplier, const Amounts& amounts,
                                       double total);
  static std::optional<double> Concentration(const Amounts& amounts);

  Amounts orders_;
  std::optional<Amounts> paid_;
  double all_orders_ = 0, all_paid_ = 0;
};

}  // namespace plumblane
