// Terms: what a supplier agreed to, whether it is paused, and where its month stands.
//
// Not thread-safe for changes; const use is.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "agreements/promised_days.h"
#include "base/money.h"
#include "base/time.h"

namespace plumblane {

struct Targets {
  std::optional<double> on_time;                       // share, at least
  std::optional<double> defect;                        // share, at most
  std::optional<double> delivery_days, response_days;  // nine in ten within, at most
  bool operator==(const Targets&) const = default;
};

struct Terms {
  std::string supplier;
  std::optional<int64_t> monthly_order_limit;  // >= 0
  int month_start_day = 1;                     // 1..28
  std::optional<Money> next_step_cost;
  std::optional<int> claim_days;
  std::optional<PromisedDays> promise;  // where neither order nor quote states one
  std::string origin, service;          // where an order names none
  std::vector<DayRange> closures;       // ascending and apart
  Targets targets;
  std::vector<std::string> tags;  // ascending, each once
  bool operator==(const Terms&) const = default;
};

struct Pause {
  std::string supplier;
  bool paused = true;        // false: resumed
  std::optional<Day> until;  // active again on that day; none = until resumed
  std::string reason;
  bool operator==(const Pause&) const = default;
};

struct HeldTerms {
  Terms terms;
  Instant loaded_at;
  bool operator==(const HeldTerms&) const = default;
};

// The day on which the month that contains `day` began, and the next one begins.
// REQUIRES: 1 <= start_day <= 28.
struct Month {
  Day first, next;
};
Month MonthOf(Day day, int start_day);

class TermsBook {
 public:
  void Load(const std::vector<Terms>& terms, Instant loaded_at);
  void Put(const Pause& pause) { pauses_[pause.supplier] = pause; }

  // Null when none were loaded.
  const HeldTerms* Find(const std::string& supplier) const;
  // The pause that holds on `day`; null when active.
  const Pause* PausedOn(const std::string& supplier, Day day) const;

  // By supplier; of one supplier as they were loaded, the last one holds.
  const std::map<std::string, std::vector<HeldTerms>>& all() const { return terms_; }
  const std::map<std::string, Pause>& pauses() const { return pauses_; }

 private:
  std::map<std::string, std::vector<HeldTerms>> terms_;
  std::map<std::string, Pause> pauses_;
};

}  // namespace plumblane
