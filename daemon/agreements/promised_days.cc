#include "agreements/promised_days.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>

#include <algorithm>
#include <optional>

namespace plumblane {
namespace {

constexpr std::string_view kWorking = "working";
constexpr int kTooMany = kMostPromisedDays + 1;

struct Range {
  int least = 0, most = 0;
};

std::string_view Trim(std::string_view text) {
  const auto is_blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

// All beyond the bound counts as kTooMany.
std::optional<int> ReadNumber(std::string_view text) {
  text = Trim(text);
  if (text.empty()) return std::nullopt;
  int number = 0;
  for (const char c : text) {
    if (!absl::ascii_isdigit(static_cast<unsigned char>(c))) return std::nullopt;
    number = std::min(number * 10 + (c - '0'), kTooMany);
  }
  return number;
}

std::optional<Range> ReadRange(std::string_view text) {
  const size_t hyphen = text.find('-');
  const std::optional<int> least = ReadNumber(text.substr(0, hyphen));
  const std::optional<int> most =
      hyphen == std::string_view::npos ? least : ReadNumber(text.substr(hyphen + 1));
  if (!least || !most) return std::nullopt;
  return Range{*least, *most};
}

// Takes " working" off the end.
bool TakeWorking(std::string_view& text) {
  if (!text.ends_with(kWorking)) return false;
  const std::string_view days = text.substr(0, text.size() - kWorking.size());
  if (Trim(days).size() == days.size()) return false;
  text = days;
  return true;
}

bool IsWeekend(Day day) { return (day.number + 3) % 7 >= 5; }  // 1970-01-01 was a Thursday

absl::Status Bad(std::string_view expected, std::string_view text) {
  return absl::InvalidArgumentError(
      absl::StrCat("expected ", std::string(expected), ", not \"", std::string(text), "\""));
}

}  // namespace

absl::StatusOr<PromisedDays> ParsePromisedDays(std::string_view text) {
  std::string_view days = Trim(text);
  PromisedDays promise;
  promise.working_days = TakeWorking(days);
  const size_t plus = days.find('+');
  const bool has_processing = plus != std::string_view::npos;
  const std::optional<Range> processing = ReadRange(has_processing ? days.substr(0, plus) : "0");
  const std::optional<Range> shipping = ReadRange(has_processing ? days.substr(plus + 1) : days);
  if (!processing || !shipping) {
    return Bad("days such as 8, 5-8 or 1-2+5-8, with \" working\" behind for working days", text);
  }
  for (const Range& range : {*processing, *shipping}) {
    if (range.least > range.most) return Bad("the smaller number of a range first", text);
  }
  promise.processing_days = processing->most;
  promise.shipping_days = shipping->most;
  if (promise.processing_days + promise.shipping_days > kMostPromisedDays) {
    return Bad(absl::StrCat("at most ", kMostPromisedDays, " days in all"), text);
  }
  return promise;
}

std::string FormatPromisedDays(const PromisedDays& promise) {
  std::string text;
  if (promise.processing_days > 0) text = absl::StrCat(promise.processing_days, "+");
  absl::StrAppend(&text, promise.shipping_days);
  if (promise.working_days) absl::StrAppend(&text, " working");
  return text;
}

Day PromisedDay(const PromisedDays& promise, Day paid, std::span<const DayRange> closures) {
  Day day = FirstOpenDay(paid, closures);
  const auto skipped = [&promise](Day d) { return promise.working_days && IsWeekend(d); };
  for (int i = 0; i < promise.processing_days; ++i) {
    do day = FirstOpenDay(day + 1, closures);
    while (skipped(day));
  }
  for (int i = 0; i < promise.shipping_days; ++i) {
    do day = day + 1;
    while (skipped(day));
  }
  return day;
}

Day FirstOpenDay(Day day, std::span<const DayRange> closures) {
  for (const DayRange& closure : closures) {
    if (closure.Contains(day)) day = closure.last + 1;
  }
  return day;
}

}  // namespace plumblane
