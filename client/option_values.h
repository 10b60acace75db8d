// Options and words of the command line, and cells of tables, into values. Errors INVALID_ARGUMENT,
// saying what was expected; whoever calls names the option or the cell.
#pragma once

#include <absl/status/statusor.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <google/protobuf/duration.pb.h>

#include <string>
#include <utility>

#include "base/ids.h"
#include "base/time.h"
#include "client/event_file.h"
#include "client/invocation.h"
#include "plumblane/v1/event.pb.h"

namespace plumblane::client {

absl::StatusOr<std::string> ParseId(const std::string& text);
absl::StatusOr<std::string> ParseText(const std::string& text);

// A time with offset, or a bare date, which is its start in UTC.
absl::StatusOr<Instant> ParseMoment(const std::string& text);

// Days, fractions allowed: a half-life, and days after payment.
absl::StatusOr<google::protobuf::Duration> ParseHalfLife(const std::string& text);
absl::StatusOr<double> ParseWithin(const std::string& text);

// A tag of a supplier's terms; what to sort suppliers by.
absl::StatusOr<std::string> ParseTag(const std::string& text);
absl::StatusOr<SupplierSort> ParseSort(const std::string& text);

absl::StatusOr<Shell> ParseShell(const std::string& text);

absl::StatusOr<EventFile::Format> ParseFormat(const std::string& text);

// "1042" or "harbour/1042".
absl::StatusOr<OrderKey> ParseOrder(const std::string& text);

// "2026-08-17..2026-08-23", or one day.
absl::StatusOr<std::pair<Day, Day>> ParseDays(const std::string& text);

// The days of "2026Q3", "2026-07..2026-09", "2026-08", "2026" or "2026-08-17..2026-08-23".
absl::StatusOr<std::pair<Day, Day>> ParsePeriod(const std::string& text);

// A file for a review, by whose end its form is told.
absl::StatusOr<std::string> ParseReviewFile(const std::string& text);

// A text in words, such as a reason; an item's code.
absl::StatusOr<std::string> ParseWords(const std::string& text);
absl::StatusOr<std::string> ParseItem(const std::string& text);

// A day, given back as written.
absl::StatusOr<std::string> ParseDate(const std::string& text);

// The cursor of a notice, 0 or more.
absl::StatusOr<int64_t> ParseCursor(const std::string& text);

// "95%" or "0.95".
absl::StatusOr<double> ParseShare(const std::string& text);

// Any case; in upper case.
absl::StatusOr<std::string> ParseCurrency(const std::string& text);

// An amount of 0 or more.
absl::StatusOr<v1::Money> ParseAmount(const std::string& amount, const std::string& currency);

template <int kLow, int kHigh>
absl::StatusOr<int> ParseNumber(const std::string& text) {
  int number = 0;
  if (absl::SimpleAtoi(text, &number) && number >= kLow && number <= kHigh) return number;
  return absl::InvalidArgumentError(
      absl::StrCat("expected a whole number from ", kLow, " to ", kHigh));
}

}  // namespace plumblane::client
