#include "client/option_values.h"

#include <absl/strings/ascii.h>

#include <cmath>

#include "base/lane.h"
#include "base/money.h"
#include "client/review_forms.h"

namespace plumblane::client {
namespace {

constexpr double kShortestHalfLifeDays = 1.0 / 24, kLongestHalfLifeDays = 36'525;
constexpr double kMostWithinDays = 120;

std::string Two(int number) { return absl::StrCat(number < 10 ? "0" : "", number); }

// First and last day of "2026-08".
std::optional<std::pair<Day, Day>> MonthNamed(const std::string& text) {
  int month = 0;
  if (text.size() != 7 || !absl::SimpleAtoi(text.substr(5), &month)) return std::nullopt;
  const absl::StatusOr<Day> first = ParseDay(text + "-01");
  if (!first.ok()) return std::nullopt;
  Day last = *first + 27;
  while (FormatDay(last + 1).substr(0, 7) == text) last = last + 1;
  return std::pair(*first, last);
}

}  // namespace

absl::StatusOr<std::string> ParseId(const std::string& text) {
  if (const absl::Status status = CheckId(text); !status.ok()) return status;
  return text;
}

absl::StatusOr<std::string> ParseText(const std::string& text) { return text; }

absl::StatusOr<Instant> ParseMoment(const std::string& text) {
  if (!LooksLikeDay(text)) return ParseInstant(text);
  const absl::StatusOr<Day> day = ParseDay(text);
  if (!day.ok()) return day.status();
  return StartOf(*day);
}

absl::StatusOr<google::protobuf::Duration> ParseHalfLife(const std::string& text) {
  double days = 0;
  if (!absl::SimpleAtod(text, &days) ||
      !(days >= kShortestHalfLifeDays - 1e-6 && days <= kLongestHalfLifeDays)) {
    return absl::InvalidArgumentError("expected days from 0.05 to 36525, such as 45");
  }
  google::protobuf::Duration duration;
  duration.set_seconds(std::llround(days * 86'400));
  return duration;
}

absl::StatusOr<double> ParseWithin(const std::string& text) {
  double days = 0;
  if (absl::SimpleAtod(text, &days) && days >= 0 && days <= kMostWithinDays) return days;
  return absl::InvalidArgumentError("expected days from 0 to 120, such as 10");
}

absl::StatusOr<std::string> ParseTag(const std::string& text) {
  const absl::StatusOr<std::string> word = ParseService(text);
  if (word.ok() && !word->empty()) return *word;
  return absl::InvalidArgumentError("expected 1 to 32 of a-z, 0-9 and hyphen");
}

absl::StatusOr<Shell> ParseShell(const std::string& text) {
  if (text == "bash") return Shell::kBash;
  if (text == "zsh") return Shell::kZsh;
  if (text == "fish") return Shell::kFish;
  return absl::InvalidArgumentError("expected bash, zsh or fish");
}

absl::StatusOr<SupplierSort> ParseSort(const std::string& text) {
  const std::pair<std::string_view, SupplierSort> sorts[] = {
      {"name", SupplierSort::kName},
      {"on-time", SupplierSort::kOnTime},
      {"defect", SupplierSort::kDefect},
      {"orders", SupplierSort::kOrders},
      {"under-way", SupplierSort::kUnderWay}};
  for (const auto& [word, sort] : sorts) {
    if (text == word) return sort;
  }
  return absl::InvalidArgumentError("expected name, on-time, defect, orders or under-way");
}

absl::StatusOr<EventFile::Format> ParseFormat(const std::string& text) {
  if (text == "csv") return EventFile::Format::kCsv;
  if (text == "ndjson") return EventFile::Format::kNdjson;
  return absl::InvalidArgumentError("expected ndjson or csv");
}

absl::StatusOr<OrderKey> ParseOrder(const std::string& text) {
  const size_t slash = text.find('/');
  const std::string shop = slash == std::string::npos ? "" : text.substr(0, slash);
  const std::string order_id = slash == std::string::npos ? text : text.substr(slash + 1);
  if (slash != std::string::npos && !CheckId(shop).ok()) return CheckId(shop);
  if (const absl::Status status = CheckId(order_id); !status.ok()) return status;
  return OrderKey{shop, order_id};
}

absl::StatusOr<std::pair<Day, Day>> ParseDays(const std::string& text) {
  const size_t dots = text.find("..");
  const absl::StatusOr<Day> first = ParseDay(text.substr(0, dots));
  if (!first.ok()) return first.status();
  if (dots == std::string::npos) return std::pair(*first, *first);
  const absl::StatusOr<Day> last = ParseDay(text.substr(dots + 2));
  if (!last.ok()) return last.status();
  if (*first <= *last) return std::pair(*first, *last);
  return absl::InvalidArgumentError("expected the earlier day first, as FROM..TO");
}

absl::StatusOr<std::pair<Day, Day>> ParsePeriod(const std::string& text) {
  if (text.size() == 6 && text[4] == 'Q' && '1' <= text[5] && text[5] <= '4') {
    const int first = 3 * (text[5] - '1') + 1;
    const auto from = MonthNamed(absl::StrCat(text.substr(0, 4), "-", Two(first)));
    const auto to = MonthNamed(absl::StrCat(text.substr(0, 4), "-", Two(first + 2)));
    if (from && to) return std::pair(from->first, to->second);
  }
  const size_t dots = text.find("..");
  const std::string first = text.substr(0, dots);
  const std::string last = dots == std::string::npos ? first : text.substr(dots + 2);
  const auto from = MonthNamed(first), to = MonthNamed(last);
  if (from && to && from->first <= to->first) return std::pair(from->first, to->second);
  if (dots != std::string::npos && LooksLikeDay(first) && LooksLikeDay(last)) {
    return ParseDays(text);
  }
  return absl::InvalidArgumentError(
      "expected a quarter, 2026Q3, a month, 2026-08, months, 2026-07..2026-09, or days, "
      "2026-08-17..2026-08-23");
}

absl::StatusOr<std::string> ParseReviewFile(const std::string& text) {
  if (FormOf(text)) return text;
  return absl::InvalidArgumentError("expected a file that ends in .html, .md, .csv or .json");
}

absl::StatusOr<std::string> ParseWords(const std::string& text) {
  if (const absl::Status status = CheckText(text); !status.ok()) return status;
  return text;
}

absl::StatusOr<std::string> ParseItem(const std::string& text) {
  if (const absl::Status status = CheckEventId(text); !status.ok()) return status;
  return text;
}

absl::StatusOr<std::string> ParseDate(const std::string& text) {
  if (const absl::StatusOr<Day> day = ParseDay(text); !day.ok()) return day.status();
  return text;
}

absl::StatusOr<int64_t> ParseCursor(const std::string& text) {
  int64_t cursor = 0;
  if (absl::SimpleAtoi(text, &cursor) && cursor >= 0) return cursor;
  return absl::InvalidArgumentError("expected the number that a notice began with");
}

absl::StatusOr<double> ParseShare(const std::string& text) {
  const bool is_percent = text.ends_with('%');
  double share = 0;
  if (absl::SimpleAtod(text.substr(0, text.size() - (is_percent ? 1 : 0)), &share)) {
    if (is_percent) share /= 100;
    if (share >= 0 && share <= 1) return share;
  }
  return absl::InvalidArgumentError("expected a share from 0 to 1 or in percent, such as 95%");
}

absl::StatusOr<std::string> ParseCurrency(const std::string& text) {
  std::string code = absl::AsciiStrToUpper(text);
  if (MinorUnitDigits(code)) return code;
  return absl::InvalidArgumentError("expected a currency of ISO 4217, such as EUR");
}

absl::StatusOr<v1::Money> ParseAmount(const std::string& amount, const std::string& currency) {
  const absl::StatusOr<Money> money = ParseMoney(amount, currency);
  if (!money.ok()) return money.status();
  if (money->minor_units < 0) return absl::InvalidArgumentError("expected an amount of 0 or more");
  v1::Money answer;
  answer.set_minor_units(money->minor_units);
  answer.set_currency_code(money->currency);
  return answer;
}

}  // namespace plumblane::client
