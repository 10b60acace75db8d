// Dates and times as tables write them.
//
// A form says no more than the order of day, month and year, since that alone cannot be seen:
//   Y-M-D  2012-06-05, 2012/06/05 14:02, 20120605
//   D-M-Y  5.6.2012, 05/06/12, 5-Jun-12, 5 June 2012 2:02 PM
//   M-D-Y  6/5/2012, Jun 5, 2012
//   seconds, milliseconds   since 1970-01-01 UTC: 1338904920
// Separators, names of months (English, German, French, Spanish, Swedish, Polish), a clock time
// after the date, with AM or PM, and an offset from UTC after that are recognised. Years of two
// digits are 1970 to 2069.
//
// A date alone, and a midnight without offset, which is how spreadsheets write one, is a day; a
// clock time without an offset needs a zone to be a moment.
//
// Pure and thread-safe.
#pragma once

#include <absl/time/time.h>

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace plumblane::client {

enum class DateForm : uint8_t { kYearFirst, kDayFirst, kMonthFirst, kSeconds, kMilliseconds };

inline constexpr DateForm kDateForms[] = {DateForm::kYearFirst, DateForm::kDayFirst,
                                          DateForm::kMonthFirst, DateForm::kSeconds,
                                          DateForm::kMilliseconds};

// "Y-M-D", "seconds"; and back.
std::string_view NameOf(DateForm form);
std::optional<DateForm> DateFormNamed(std::string_view name);

// What a text says.
struct WrittenTime {
  int year = 0, month = 0, day = 0;
  std::optional<int> millis;          // of the day, at its place; none = the day alone
  std::optional<int> offset_minutes;  // east of UTC; none = not said
};

// None when the text is no date of this form from 1970 on.
std::optional<WrittenTime> ReadTime(std::string_view text, DateForm form);

// The forms that the text can have, as bits 1 << form; 0 = it is no date.
unsigned FormsOf(std::string_view text);
inline constexpr unsigned BitOf(DateForm form) { return 1u << static_cast<unsigned>(form); }
std::vector<DateForm> FormsIn(unsigned bits);

// True when a moment follows only from a zone.
inline bool NeedsZone(const WrittenTime& time) { return time.millis && !time.offset_minutes; }

// As event files write it: "2012-06-05", "2012-06-05T12:02:00Z". A clock time without an offset is
// one of `zone`.
std::string ToEventTime(const WrittenTime& time, const absl::TimeZone& zone);

}  // namespace plumblane::client
