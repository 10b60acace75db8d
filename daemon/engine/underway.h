// Orders under way and claims, one by one: what to chase, what to claim. As of now.
//
// Under way is a part that was paid and neither delivered, cancelled nor refunded by the supplier;
// what is given up as lost (orders/standing.h) is no longer.
// To be claimed is what standing.h calls unclaimed, and what has not arrived though its promised
// day is over by the horizon: as not received, as lost once it is given up; not of what is excused.
// Its days count from delivery or else the promised day; it stays as long as the terms say, without
// terms for the claim window, and on the last day still.
#pragma once

#include <compare>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/ids.h"
#include "base/lane.h"
#include "base/money.h"
#include "base/time.h"
#include "cohorts/cell.h"
#include "orders/event.h"

namespace plumblane {

struct UnderwayFilter {
  std::string supplier;  // "" = all
  std::optional<LaneQuery> lane;
  bool late_only = false;  // overdue, likely late or slow to leave
};

// Where an order stands in the list: overdue first, then by chase value and late chance, the
// highest first and those without at the end, then by shop, order and part.
struct UnderwayPlace {
  bool in_time = false;
  double minus_value = 1, minus_chance = 1;  // <= 0; 1 without one
  OrderKey order;
  int part = 1;
  auto operator<=>(const UnderwayPlace&) const = default;
};

enum class UnderwayState : uint8_t { kOnTime, kLikelyLate, kOverdue, kNoPromise };

struct UnderwayOrder {
  UnderwayPlace place;
  Pair pair;
  std::string item, tracking;  // the first tracking number of several
  Instant paid;
  std::optional<Instant> shipped, promise;
  double age_days = 0;  // since payment
  UnderwayState state = UnderwayState::kOnTime;
  std::optional<double> late_chance;          // ranking/chase.h
  std::optional<double> usual_handling_days;  // set when it is slow to leave
  std::optional<Money> cost;
  std::optional<double> chase_value;  // minor units of the answer's currency
  std::string reason;                 // why it is worth chasing; "" = it is not
};

struct UnderwayTally {
  int64_t orders = 0, overdue = 0, likely_late = 0, slow_to_leave = 0;
  bool operator==(const UnderwayTally&) const = default;
};

struct UnderwayAnswer {
  std::vector<UnderwayOrder> orders;
  bool more = false;
  std::map<Pair, UnderwayTally> counts;  // over all that match, told or not
  std::string currency;                  // of chase values; "" without cost settings
  Instant as_of;
  std::optional<Instant> news;  // delivery news is complete up to here; none = no limit
};

struct ClaimFilter {
  std::string supplier;  // "" = all
  bool with_settled = false;
};

// By the last day to file, those without one at the end; then by money, what was paid for what is
// to be filed and what is owed on what was, of one currency after the other, the highest first and
// those without at the end; then by shop, order and part.
struct ClaimPlace {
  Day last;  // kNoLastDay = none
  std::string currency;
  int64_t minus_money = 0;
  OrderKey order;
  int part = 1;
  auto operator<=>(const ClaimPlace&) const = default;
};
inline constexpr Day kNoLastDay{0x7FFFFFFF};

enum class ClaimState : uint8_t { kToFile, kUnanswered, kOwed, kSettled };

struct ClaimToAct {
  ClaimPlace place;
  Pair pair;
  Reason reason = Reason::kNone;
  ClaimState state = ClaimState::kToFile;
  std::optional<Instant> disputed;
  std::optional<double> waiting_days;            // while unanswered
  std::optional<Money> claimed, refunded, owed;  // refunded by the supplier, in one currency
  // Of what is to be filed, by the supplier's terms.
  std::optional<Day> last_day;
  std::optional<int> days_left;  // 0 = today is the last day
};

struct ClaimsAnswer {
  std::vector<ClaimToAct> claims;
  bool more = false;
  Instant as_of;
};

}  // namespace plumblane
