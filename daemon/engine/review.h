// A review as it is asked for, and answered; its accounts are those of review/account.h.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/lane.h"
#include "base/time.h"
#include "engine/alerts_told.h"
#include "orders/fold.h"
#include "review/account.h"
#include "review/order_tally.h"
#include "review/period.h"
#include "review/portions.h"

namespace plumblane {

struct ReviewAsked {
  Period period;
  std::string supplier;           // "" = all
  std::optional<LaneQuery> lane;  // none = all
  std::string shop;               // "" = all
  std::optional<Instant> as_of;
  // Only the supplier's own account and its pairs, and nothing that costs, shares or assignments
  // have made. REQUIRES: a supplier.
  bool to_share = false;
};

// Of a supplier or lane, or of a pool with the lane in it, active at some time in the period.
struct AlertMark {
  std::string alert_id;
  AlertMeasure measure = AlertMeasure::kOnTime;
  Day changed, opened;
  std::optional<Day> closed;                      // by the moment asked
  std::optional<double> rate_before, rate_since;  // since: up to the opening, as told
  // Of a pool: the end that its lanes have in common, the other one "", and how many they were when
  // it opened. 0: of the account's own.
  std::string pool_origin, pool_destination;
  size_t pooled = 0;
};

// The currency that amounts of several are compared in: that of the cost settings that hold, else
// the one that all orders of the period were paid in; "" with the reason.
struct ReviewCurrency {
  std::string code, problem;
};
ReviewCurrency ChooseCurrency(const Portions& portions, const std::string& of_costs, bool to_share);

// `account` is of a supplier or lane, or has none; `last`: the last day whose events count. By
// opening day.
std::vector<AlertMark> AlertMarksOf(const AlertsTold& told, const Account& account,
                                    const Period& period, Day last);

struct AssignedCount {
  int64_t count = 0, trials = 0, chosen = 0;
  // Expected, and of how many assignments, by currency; without those chosen by a person.
  std::map<std::string, std::pair<double, int64_t>> savings;
  void Add(const AssignedCount& other);
};

struct ReviewedAccount {
  std::vector<AlertMark> alerts;
  AssignedCount assigned;  // in the period
};

struct ReviewAnswer {
  Periods periods;
  Instant as_of;
  std::optional<Instant> news;
  bool provisional = false;
  std::optional<Day> kept_from;  // none: all orders of the three periods are kept
  Day final_day;  // from its start on the figures no longer change, if no feed is behind
  std::vector<Account> accounts;
  std::vector<ReviewedAccount> rest;  // along accounts
  size_t comparison_count = 0;
  std::string currency, currency_problem;  // of money shares, costs and stakes
};

// One order of the evidence.
struct EvidenceOrder {
  OrderKey order;
  PartState part;
  PartOutcome outcome;
  std::vector<std::string_view> findings;  // not empty
};

}  // namespace plumblane
