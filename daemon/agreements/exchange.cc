#include "agreements/exchange.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <iterator>

namespace plumblane {
namespace {

constexpr size_t kMostDigitsBefore = 12, kMostDecimals = 12;
constexpr int kMostDigits = 18;

bool AllDigits(std::string_view text) {
  for (const char c : text) {
    if (!absl::ascii_isdigit(static_cast<unsigned char>(c))) return false;
  }
  return !text.empty();
}

// The units and decimals of `rate`; false when it is none.
bool ReadRate(std::string_view text, ExchangeRate& rate) {
  const size_t point = text.find('.');
  const std::string_view before = text.substr(0, point);
  std::string_view decimals;
  if (point != std::string_view::npos) {
    decimals = text.substr(point + 1);
    if (!AllDigits(decimals) || decimals.size() > kMostDecimals) return false;
    while (decimals.ends_with('0')) decimals.remove_suffix(1);
  }
  if (!AllDigits(before) || before.size() > kMostDigitsBefore) return false;
  for (const std::string_view part : {before, decimals}) {
    for (const char c : part) {
      if (rate.units >= PowerOfTen(kMostDigits - 1)) return false;
      rate.units = rate.units * 10 + (c - '0');
    }
  }
  rate.decimals = static_cast<int>(decimals.size());
  return rate.units > 0;
}

}  // namespace

absl::StatusOr<ExchangeRate> ParseExchangeRate(std::string_view from, std::string_view to,
                                               std::string_view rate, Day date) {
  absl::StatusOr<std::string> from_code = ParseCurrency(from);
  if (!from_code.ok()) return from_code.status();
  absl::StatusOr<std::string> to_code = ParseCurrency(to);
  if (!to_code.ok()) return to_code.status();
  if (*from_code == *to_code) {
    return absl::InvalidArgumentError(
        absl::StrCat("expected two different currencies, not ", *to_code, " twice"));
  }
  ExchangeRate read{*std::move(from_code), *std::move(to_code), 0, 0, date};
  if (ReadRate(rate, read)) return read;
  return absl::InvalidArgumentError(
      absl::StrCat("expected a plain decimal above 0, such as 0.9213, with at most ",
                   kMostDigitsBefore, " digits before the point, ", kMostDecimals,
                   " behind it and ", kMostDigits, " in all, not \"", std::string(rate), "\""));
}

std::string FormatRate(const ExchangeRate& rate) {
  const int64_t scale = PowerOfTen(rate.decimals);
  std::string text = absl::StrCat(rate.units / scale);
  if (rate.decimals > 0) {
    absl::StrAppendFormat(&text, ".%0*d", rate.decimals, rate.units % scale);
  }
  return text;
}

absl::StatusOr<int64_t> ConvertMinorUnits(int64_t minor_units, const ExchangeRate& rate,
                                          bool inverse) {
  // Minor units of `from` times units / 10^digits are minor units of `to`. Where digits < 0 the
  // rate has few decimals, so that units * 10^-digits is within int64.
  const int digits = rate.decimals + *MinorUnitDigits(rate.from) - *MinorUnitDigits(rate.to);
  const int64_t numerator = digits < 0 ? rate.units * PowerOfTen(-digits) : rate.units;
  const int64_t denominator = digits < 0 ? 1 : PowerOfTen(digits);
  return inverse ? MultiplyHalfEven(minor_units, denominator, numerator)
                 : MultiplyHalfEven(minor_units, numerator, denominator);
}

void ExchangeBook::Load(const std::vector<ExchangeRate>& rates) {
  for (const ExchangeRate& rate : rates) rates_[{rate.from, rate.to}][rate.date] = rate;
}

absl::StatusOr<ExchangeBook::Conversion> ExchangeBook::Convert(const Money& money,
                                                               const std::string& to,
                                                               Day day) const {
  if (money.currency == to) return Conversion{money};
  const auto latest = [&](const std::string& a, const std::string& b) -> const ExchangeRate* {
    const auto found = rates_.find({a, b});
    if (found == rates_.end()) return nullptr;
    const auto after = found->second.upper_bound(day);
    return after == found->second.begin() ? nullptr : &std::prev(after)->second;
  };
  const ExchangeRate* asked = latest(money.currency, to);
  const ExchangeRate* turned = latest(to, money.currency);
  const bool inverse = turned != nullptr && (asked == nullptr || asked->date < turned->date);
  const ExchangeRate* rate = inverse ? turned : asked;
  if (rate == nullptr) {
    return absl::NotFoundError(absl::StrCat("expected a rate of ", std::string(money.currency),
                                            " and ", to, " of ", FormatDay(day),
                                            " or before; there is none"));
  }
  const absl::StatusOr<int64_t> converted = ConvertMinorUnits(money.minor_units, *rate, inverse);
  if (!converted.ok()) return converted.status();
  return Conversion{{*converted, to}, rate, inverse};
}

}  // namespace plumblane
