#include "client/date_forms.h"

#include <absl/strings/ascii.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <iterator>

#include "base/time.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kNames[] = {"Y-M-D", "D-M-Y", "M-D-Y", "seconds", "milliseconds"};

struct MonthName {
  std::string_view beginning;  // lower case
  int month;
};
constexpr MonthName kMonths[] = {{"jan", 1},
                                 {"feb", 2},
                                 {"mar", 3},
                                 {"apr", 4},
                                 {"may", 5},
                                 {"june", 6},
                                 {"juin", 6},
                                 {"jun", 6},
                                 {"july", 7},
                                 {"juil", 7},
                                 {"jul", 7},
                                 {"aug", 8},
                                 {"sep", 9},
                                 {"oct", 10},
                                 {"nov", 11},
                                 {"dec", 12},
                                 {"mrz", 3},
                                 {"m\xC3\xA4r", 3},
                                 {"mai", 5},
                                 {"okt", 10},
                                 {"dez", 12},
                                 {"f\xC3\xA9v", 2},
                                 {"fev", 2},
                                 {"avr", 4},
                                 {"ao\xC3\xBB", 8},
                                 {"aout", 8},
                                 {"d\xC3\xA9"
                                  "c",
                                  12},
                                 {"maj", 5},
                                 {"sty", 1},
                                 {"lut", 2},
                                 {"kwi", 4},
                                 {"cze", 6},
                                 {"lip", 7},
                                 {"sie", 8},
                                 {"wrz", 9},
                                 {"pa\xC5\xBA", 10},
                                 {"lis", 11},
                                 {"gru", 12},
                                 {"ene", 1},
                                 {"abr", 4},
                                 {"ago", 8},
                                 {"dic", 12}};

// Reads a text from left to right.
class Scanner {
 public:
  explicit Scanner(std::string_view text) : rest_(text) {}

  bool done() const { return rest_.empty(); }
  char next() const { return rest_.empty() ? '\0' : rest_[0]; }
  std::string_view rest() const { return rest_; }

  bool Take(char c) {
    if (next() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  // Every character of `any` that comes now; how many.
  size_t Skip(std::string_view any) {
    const size_t count = std::min(rest_.find_first_not_of(any), rest_.size());
    rest_.remove_prefix(count);
    return count;
  }
  // A whole number of up to `most` digits, and how many it had; -1 = none or more.
  int Number(size_t most, size_t* digits = nullptr) {
    size_t count = 0;
    int value = 0;
    for (; count < rest_.size() && absl::ascii_isdigit(static_cast<unsigned char>(rest_[count]));
         ++count) {
      if (count == most) return -1;
      value = 10 * value + (rest_[count] - '0');
    }
    if (digits != nullptr) *digits = count;
    rest_.remove_prefix(count);
    return count == 0 ? -1 : value;
  }
  // Letters, in lower case; bytes beyond ASCII count as letters.
  std::string Word() {
    size_t count = 0;
    const auto is_letter = [](char c) {
      return absl::ascii_isalpha(static_cast<unsigned char>(c)) || (c & 0x80) != 0;
    };
    while (count < rest_.size() && is_letter(rest_[count])) ++count;
    const std::string word = absl::AsciiStrToLower(std::string(rest_.substr(0, count)));
    rest_.remove_prefix(count);
    return word;
  }

 private:
  std::string_view rest_;
};

int MonthNamed(const std::string& word) {
  for (const MonthName& name : kMonths) {
    if (word.starts_with(name.beginning)) return name.month;
  }
  return 0;
}

// One of the three parts of a date.
struct Part {
  int value = -1;
  size_t digits = 0;  // 0 = the name of a month
};

std::optional<Part> ReadPart(Scanner& scanner) {
  Part part;
  if (absl::ascii_isdigit(static_cast<unsigned char>(scanner.next()))) {
    part.value = scanner.Number(4, &part.digits);
  } else {
    part.value = MonthNamed(scanner.Word());
    if (part.value == 0) return std::nullopt;
  }
  return part.value < 0 ? std::nullopt : std::optional(part);
}

bool SetDate(const Part& year, const Part& month, const Part& day, WrittenTime& to) {
  if (day.digits == 0 || day.digits > 2 || month.digits > 2) return false;
  if (year.digits != 2 && year.digits != 4) return false;
  to.year = year.digits == 4 ? year.value : year.value + (year.value < 70 ? 2000 : 1900);
  to.month = month.value;
  to.day = day.value;
  if (to.year < 1970 || to.month < 1 || to.month > 12 || to.day < 1) return false;
  const absl::CivilDay civil(to.year, to.month, to.day);
  return civil.month() == to.month;
}

bool ReadDate(Scanner& scanner, DateForm form, WrittenTime& to) {
  const std::string_view text = scanner.rest();
  if (form == DateForm::kYearFirst && text.size() >= 8 &&
      std::all_of(text.begin(), text.begin() + 8, absl::ascii_isdigit)) {
    const auto part = [&](size_t from, size_t size) {
      Part read{0, size};
      for (const char c : text.substr(from, size)) read.value = 10 * read.value + (c - '0');
      return read;
    };
    const Part year = part(0, 4), month = part(4, 2), day = part(6, 2);
    for (int i = 0; i < 8; ++i) scanner.Take(scanner.next());
    return SetDate(year, month, day, to);
  }
  Part parts[3];
  for (int i = 0; i < 3; ++i) {
    if (i > 0 && scanner.Skip("-./, ") == 0) return false;
    const std::optional<Part> part = ReadPart(scanner);
    if (!part) return false;
    parts[i] = *part;
  }
  switch (form) {
    case DateForm::kYearFirst:
      // 5-Jun-12 is no day of the year 5.
      if (parts[1].digits == 0 && parts[0].digits != 4) return false;
      return SetDate(parts[0], parts[1], parts[2], to);
    case DateForm::kDayFirst:
      return parts[0].digits > 0 && SetDate(parts[2], parts[1], parts[0], to);
    case DateForm::kMonthFirst:
      return parts[1].digits > 0 && SetDate(parts[2], parts[0], parts[1], to);
    default:
      return false;
  }
}

bool ReadClock(Scanner& scanner, WrittenTime& to) {
  int hour = scanner.Number(2);
  int minute = 0, second = 0, millis = 0;
  if (hour < 0 || !scanner.Take(':') || (minute = scanner.Number(2)) < 0) return false;
  if (scanner.Take(':') && (second = scanner.Number(2)) < 0) return false;
  if (scanner.next() == '.' || scanner.next() == ',') {
    scanner.Take(scanner.next());
    for (int unit = 100; absl::ascii_isdigit(static_cast<unsigned char>(scanner.next()));
         unit /= 10) {
      millis += unit * (scanner.next() - '0');
      scanner.Take(scanner.next());
    }
  }
  scanner.Skip(" ");
  const std::string_view rest = scanner.rest();
  if (rest.size() >= 2 && absl::AsciiStrToLower(std::string(rest.substr(1, 1))) == "m" &&
      std::string_view("aApP").find(rest[0]) != std::string_view::npos) {
    if (hour < 1 || hour > 12) return false;
    hour = hour % 12 + (rest[0] == 'p' || rest[0] == 'P' ? 12 : 0);
    scanner.Word();
  }
  if (hour > 23 || minute > 59 || second > 59) return false;
  to.millis = ((hour * 60 + minute) * 60 + second) * 1000 + millis;
  return true;
}

bool ReadOffset(Scanner& scanner, WrittenTime& to) {
  scanner.Skip(" ");
  if (scanner.done()) return true;
  const int sign = scanner.next() == '-' ? -1 : 1;
  if (!scanner.Take('+') && !scanner.Take('-')) {
    const std::string word = scanner.Word();
    if (word != "z" && word != "utc" && word != "gmt") return false;
    to.offset_minutes = 0;
    return scanner.done();
  }
  size_t digits = 0;
  int hours = scanner.Number(4, &digits);
  int minutes = 0;
  if (hours < 0) return false;
  if (digits > 2) {
    minutes = hours % 100;
    hours /= 100;
  } else if (scanner.Take(':') && (minutes = scanner.Number(2)) < 0) {
    return false;
  }
  if (hours > 14 || minutes > 59) return false;
  to.offset_minutes = sign * (60 * hours + minutes);
  return scanner.done();
}

std::optional<WrittenTime> ReadEpoch(std::string_view text, bool is_millis) {
  const size_t digits = is_millis ? 12 : 9;  // from 1973 and 2001 on, and no year or day is one
  const size_t point = std::min(text.find('.'), text.size());
  const std::string whole(text.substr(0, point));
  const std::string_view fraction = text.substr(std::min(point + 1, text.size()));
  if (whole.size() < digits || whole.size() > digits + 1) return std::nullopt;
  if (!std::all_of(whole.begin(), whole.end(), absl::ascii_isdigit)) return std::nullopt;
  if (!std::all_of(fraction.begin(), fraction.end(), absl::ascii_isdigit)) return std::nullopt;
  int64_t number = 0;
  double exact = 0;
  if (!absl::SimpleAtoi(whole, &number) || !absl::SimpleAtod(std::string(text), &exact)) {
    return std::nullopt;
  }
  const int64_t millis = is_millis ? number : static_cast<int64_t>(exact * 1000 + 0.5);
  const absl::CivilDay day = absl::CivilDay(1970, 1, 1) + millis / kMillisPerDay;
  return WrittenTime{static_cast<int>(day.year()), day.month(), day.day(),
                     static_cast<int>(millis % kMillisPerDay), 0};
}

}  // namespace

std::string_view NameOf(DateForm form) { return kNames[static_cast<size_t>(form)]; }

std::optional<DateForm> DateFormNamed(std::string_view name) {
  for (const DateForm form : kDateForms) {
    if (NameOf(form) == name) return form;
  }
  return std::nullopt;
}

std::optional<WrittenTime> ReadTime(std::string_view text, DateForm form) {
  if (form == DateForm::kSeconds || form == DateForm::kMilliseconds) {
    return ReadEpoch(text, form == DateForm::kMilliseconds);
  }
  Scanner scanner(text);
  WrittenTime time;
  if (!ReadDate(scanner, form, time)) return std::nullopt;
  if (scanner.done()) return time;
  if (!scanner.Take('T') && scanner.Skip(" ,") == 0) return std::nullopt;
  if (!ReadClock(scanner, time) || !ReadOffset(scanner, time)) return std::nullopt;
  if (time.millis == 0 && !time.offset_minutes) time.millis.reset();
  return time;
}

unsigned FormsOf(std::string_view text) {
  unsigned bits = 0;
  for (const DateForm form : kDateForms) {
    if (ReadTime(text, form)) bits |= BitOf(form);
  }
  return bits;
}

std::vector<DateForm> FormsIn(unsigned bits) {
  std::vector<DateForm> forms;
  for (const DateForm form : kDateForms) {
    if (bits & BitOf(form)) forms.push_back(form);
  }
  return forms;
}

std::string ToEventTime(const WrittenTime& time, const absl::TimeZone& zone) {
  if (!time.millis) return absl::StrFormat("%04d-%02d-%02d", time.year, time.month, time.day);
  const absl::CivilSecond second =
      absl::CivilSecond(time.year, time.month, time.day) + *time.millis / 1000;
  absl::Time moment = time.offset_minutes ? absl::FromCivil(second, absl::UTCTimeZone()) -
                                                absl::Minutes(*time.offset_minutes)
                                          : absl::FromCivil(second, zone);
  moment += absl::Milliseconds(*time.millis % 1000);
  return FormatInstant({absl::ToUnixMillis(moment)});
}

}  // namespace plumblane::client
