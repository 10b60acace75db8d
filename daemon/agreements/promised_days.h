// A promise in days, as suppliers state it.
//
// Pure and thread-safe.
#pragma once

#include <absl/status/statusor.h>

#include <compare>
#include <span>
#include <string>
#include <string_view>

#include "base/time.h"

namespace plumblane {

// First and last day included.
struct DayRange {
  Day first, last;
  bool Contains(Day day) const { return first <= day && day <= last; }
  auto operator<=>(const DayRange&) const = default;
};

// Of a range the upper end: it is what a buyer can hold a supplier to.
struct PromisedDays {
  int processing_days = 0;  // before the parcel leaves
  int shipping_days = 0;
  bool working_days = false;  // Monday to Friday only; else every day counts
  auto operator<=>(const PromisedDays&) const = default;
};

inline constexpr int kMostPromisedDays = 365;  // processing and shipping together

// "8", "5-8", "1-2+5-8" (processing + shipping), each with " working" behind it for working days;
// blanks around the parts are ignored. Errors say what was expected, also of a range that falls and
// of more than kMostPromisedDays.
absl::StatusOr<PromisedDays> ParsePromisedDays(std::string_view text);

// The shortest text that reads back equal: "8", "2+8 working".
std::string FormatPromisedDays(const PromisedDays& promise);

// The promised day of an order paid on `paid`. Processing days are days on which the supplier is
// open; an order paid while it is closed counts as paid on the first day after. Closures do not
// stop what is under way. Days of the week are those of the UTC date.
// REQUIRES: closures ascending and apart.
Day PromisedDay(const PromisedDays& promise, Day paid, std::span<const DayRange> closures);

// The first day, from `day` on, that no closure contains.
Day FirstOpenDay(Day day, std::span<const DayRange> closures);

}  // namespace plumblane
