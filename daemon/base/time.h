// Instants and days: the two ways Plumblane speaks of time.
//
// An Instant is a whole number of milliseconds since 1970-01-01T00:00:00Z; a Day is a whole UTC
// day, numbered from the same origin. Everything stored and computed uses these two; civil dates
// and time zones exist only at the edges (zones.h).
//
// All functions are pure and safe to call from any thread.
#pragma once

#include <absl/status/statusor.h>

#include <compare>
#include <cstdint>
#include <string>
#include <string_view>

namespace plumblane {

inline constexpr int64_t kMillisPerSecond = 1000;
inline constexpr int64_t kMillisPerDay = 86'400'000;

// A whole UTC day.
struct Day {
  int32_t number = 0;  // days since 1970-01-01
  auto operator<=>(const Day&) const = default;
  constexpr Day operator+(int32_t days) const { return {number + days}; }
  constexpr Day operator-(int32_t days) const { return {number - days}; }
  constexpr int32_t operator-(Day other) const { return number - other.number; }
};

// A moment, in milliseconds since 1970-01-01T00:00:00Z.
struct Instant {
  int64_t millis = 0;
  auto operator<=>(const Instant&) const = default;
  constexpr Instant operator+(int64_t delta_millis) const { return {millis + delta_millis}; }
  constexpr Instant operator-(int64_t delta_millis) const { return {millis - delta_millis}; }
  constexpr int64_t operator-(Instant other) const { return millis - other.millis; }
};

// The range that can be written as a protobuf Timestamp: years 1970 to 9999. Times before 1970 are
// refused at the edge, so day arithmetic never sees a negative day.
inline constexpr Instant kEarliestInstant{0};
inline constexpr Instant kLatestInstant{253'402'300'799'999};

// The UTC day that contains `t`.
constexpr Day DayOf(Instant t) {
  const int64_t floored =
      t.millis >= 0 ? t.millis / kMillisPerDay : -((-t.millis + kMillisPerDay - 1) / kMillisPerDay);
  return Day{static_cast<int32_t>(floored)};
}

// First instant of the day.
constexpr Instant StartOf(Day day) { return {static_cast<int64_t>(day.number) * kMillisPerDay}; }

// First instant of the next day: a day is over at this moment.
constexpr Instant EndOf(Day day) { return StartOf(day + 1); }

// Reads an RFC 3339 time with an offset ("2026-03-05T14:00:00+01:00", "...Z"); finer than a
// millisecond is cut off. Errors say what was expected.
absl::StatusOr<Instant> ParseInstant(std::string_view text);

// Reads a bare date "2026-03-05" as that UTC day.
absl::StatusOr<Day> ParseDay(std::string_view text);

// True when `text` has the shape of a bare date (four digits, two, two, with hyphens).
bool LooksLikeDay(std::string_view text);

// "2026-03-05T13:00:00Z"; milliseconds only when there are any.
std::string FormatInstant(Instant t);

// "2026-03-05".
std::string FormatDay(Day day);

}  // namespace plumblane
