// What an order costs the shop besides its price, as the shop says: late, waiting, bad, lost,
// unanswered. Everything in minor units of one currency.
//
// Plain values; const use is thread-safe.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "cohorts/measure.h"

namespace plumblane {

inline constexpr std::array<Code, 7> kDefectKinds = {
    Code::kDamaged,     Code::kQuality, Code::kWrongItem, Code::kMissingPart,
    Code::kCounterfeit, Code::kUnsafe,  Code::kLost};
constexpr size_t IndexOfKind(Code kind) {  // REQUIRES: IsDefect(kind)
  return static_cast<size_t>(kind) - static_cast<size_t>(Code::kDamaged);
}

struct DefectCost {
  double refund_share = 0;  // of the sale price, 0..1
  bool reship = false;      // another one is sent, at the landed price of the same supplier
  bool operator==(const DefectCost&) const = default;
};

struct CostClass {
  std::string shop, item_class;  // "" = any without one of its own
  std::optional<int64_t> sale;   // what a customer pays, where the question does not say
  int64_t late_order = 0, day_late = 0, day_waiting = 0, unanswered_day = 0;  // >= 0
  std::array<DefectCost, kDefectKinds.size()> defects;                        // by IndexOfKind
  bool operator==(const CostClass&) const = default;
};

struct TrialSettings {
  bool on = false;
  double most_share = 0.2;           // of orders, to others than the lowest expected cost; 0..1
  std::optional<int64_t> most_cost;  // minor units per order on average
  bool operator==(const TrialSettings&) const = default;
};

struct CostSettings {
  std::string currency;  // ISO 4217; "" = none were loaded
  std::vector<CostClass> classes;
  TrialSettings trials;
  bool operator==(const CostSettings&) const = default;

  // In the order (shop, class), (shop, ""), ("", class), ("", ""); null when there is none.
  const CostClass* Find(const std::string& shop, const std::string& item_class) const;
};

}  // namespace plumblane
