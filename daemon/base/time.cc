#include "base/time.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/string_view.h>
#include <absl/time/civil_time.h>
#include <absl/time/time.h>

#include <cctype>

namespace plumblane {
namespace {

absl::string_view View(std::string_view text) { return {text.data(), text.size()}; }

absl::Time ToAbsl(Instant t) { return absl::FromUnixMillis(t.millis); }

}  // namespace

bool LooksLikeDay(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  for (size_t i : {0, 1, 2, 3, 5, 6, 8, 9}) {
    if (!std::isdigit(static_cast<unsigned char>(text[i]))) return false;
  }
  return true;
}

absl::StatusOr<Instant> ParseInstant(std::string_view text) {
  if (LooksLikeDay(text)) {
    return absl::InvalidArgumentError("is a bare date where a time with offset is expected");
  }
  absl::Time time;
  std::string error;
  if (text.empty() || !absl::ParseTime(absl::RFC3339_full, View(text), &time, &error)) {
    return absl::InvalidArgumentError(
        "expected an RFC 3339 time with offset, such as 2026-03-05T14:00:00+01:00");
  }
  const Instant instant{absl::ToUnixMillis(time)};
  if (instant < kEarliestInstant || instant > kLatestInstant) {
    return absl::InvalidArgumentError("expected a time in the years 1970 to 9999");
  }
  return instant;
}

absl::StatusOr<Day> ParseDay(std::string_view text) {
  absl::CivilDay civil;
  if (!LooksLikeDay(text) || !absl::ParseCivilTime(View(text), &civil)) {
    return absl::InvalidArgumentError("expected a date, such as 2026-03-05");
  }
  const int64_t number = civil - absl::CivilDay(1970, 1, 1);
  if (number < 0) return absl::InvalidArgumentError("expected a date in the years 1970 to 9999");
  return Day{static_cast<int32_t>(number)};
}

std::string FormatInstant(Instant t) {
  const char* format = t.millis % kMillisPerSecond == 0 ? "%Y-%m-%dT%H:%M:%SZ"  //
                                                        : "%Y-%m-%dT%H:%M:%E3SZ";
  return absl::FormatTime(format, ToAbsl(t), absl::UTCTimeZone());
}

std::string FormatDay(Day day) {
  return absl::FormatTime("%Y-%m-%d", ToAbsl(StartOf(day)), absl::UTCTimeZone());
}

}  // namespace plumblane
