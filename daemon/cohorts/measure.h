// What is measured, and the words for how an order leaves a measure.
//
// The numbers are part of the bytes on disk: never renumber, only append.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace plumblane {

// The day an order enters a measure (its anchor) does not depend on the outcome:
enum class Measure : uint8_t {
  kOnTime = 1,    // anchored on the promised day; outcomes in whole days
  kDefect = 2,    // promised day; whole days after it, 0 when before
  kHandling = 3,  // paid to shipped, anchored on the paid day; duration buckets
  kTransit = 4,   // shipped to delivered, on the ship day; duration buckets
  kDelivery = 5,  // paid to delivered, on the paid day; duration buckets
  kResponse = 6,  // disputed to answered, on the dispute day; duration buckets
  kMoney = 7,     // on the paid day; sums of minor units by currency, no outcomes
  kUnderway = 8,  // on the paid day; whole days until no longer under way
  kOverdue = 9,   // as kUnderway, on the promised day, for orders with a counted promise
  // Only what is under way at present: number of orders and kCost; closed ones leave no trace. On
  // the promised day; without a counted promise on the last day there is, as it is never given up.
  kExposure = 10,
};
inline constexpr Measure kLastMeasure = Measure::kExposure;
inline constexpr int kMeasureCount = static_cast<int>(kLastMeasure);
constexpr int IndexOf(Measure measure) { return static_cast<int>(measure) - 1; }

enum class Code : uint8_t {
  kDelivered = 1,      // on_time: by the promise; transit, delivery: at that duration
  kDeliveredLate = 2,  // on_time: after the promise, at that many days after the promised day
  kShipped = 3,        // handling
  kAnswered = 4,       // response
  kLeft = 5,           // left the measure without outcome
  kFault = 6,          // not entered: its duration would be below zero
  // defect kinds
  kDamaged = 10,
  kQuality = 11,
  kWrongItem = 12,
  kMissingPart = 13,
  kCounterfeit = 14,
  kUnsafe = 15,
  kLost = 16,  // also in underway and overdue
  // underway, overdue
  kClosed = 20,  // delivered, cancelled, or refunded by the supplier
  // money, exposure: the bucket is the currency (PackCurrency), the count a sum of minor units
  kCost = 30,
  kSale = 31,
  kRefundBySupplier = 32,
  kRefundByShop = 33,
  kClaim = 34,
  kReplacementCost = 35,  // cost of the parts that replaced orders of this cohort
  // Of the orders whose kCost is in the currency of their quote; replacements have no kCost.
  kQuotedOrders = 36,  // their number
  kQuotedCost = 37,    // what they were charged
  kQuoted = 38,        // what was quoted
  // Money: orders with a counted promise; the bucket is the days from payment to the promised day.
  kPromised = 39,
};

// Cells of sums of money, not of outcomes.
constexpr bool HoldsSums(Measure measure) {
  return measure == Measure::kMoney || measure == Measure::kExposure;
}

constexpr bool IsDefect(Code code) { return code >= Code::kDamaged && code <= Code::kLost; }

// The word of the event vocabulary. REQUIRES: IsDefect(kind).
constexpr std::string_view NameOfKind(Code kind) {
  constexpr std::string_view kNames[] = {"damaged",     "quality", "wrong_item", "missing_part",
                                         "counterfeit", "unsafe",  "lost"};
  return kNames[static_cast<size_t>(kind) - static_cast<size_t>(Code::kDamaged)];
}

// Three upper-case letters as five bits each, the first highest.
constexpr uint32_t PackCurrency(std::string_view currency) {
  uint32_t packed = 0;
  for (const char c : currency) packed = (packed << 5) | static_cast<uint32_t>(c - 'A' + 1);
  return packed;
}

inline std::string UnpackCurrency(uint32_t packed) {
  std::string currency(3, 'A');
  for (int i = 2; i >= 0; --i, packed >>= 5) {
    currency[static_cast<size_t>(i)] = static_cast<char>('A' + (packed & 31) - 1);
  }
  return currency;
}

// An order that was given up as lost and closed by an event later: both days, so that either can
// be counted as of any moment. kNever: no such event.
inline constexpr uint32_t kNeverClosed = 0xFFFF;
constexpr uint32_t PackLostThenClosed(uint32_t lost_day, uint32_t closed_day) {
  return (lost_day << 16) | closed_day;
}

}  // namespace plumblane
