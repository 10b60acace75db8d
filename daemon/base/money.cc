#include "base/money.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cstdlib>
#include <iterator>

namespace plumblane {
namespace {

// The currencies of ISO 4217 list one, without funds, metals and withdrawn codes, by the digits of
// their minor unit. Sorted for binary search.
constexpr std::string_view kTwoDigits[] = {
    "AED", "AFN", "ALL", "AMD", "ANG", "AOA", "ARS", "AUD", "AWG", "AZN", "BAM", "BBD", "BDT",
    "BGN", "BMD", "BND", "BOB", "BRL", "BSD", "BTN", "BWP", "BYN", "BZD", "CAD", "CDF", "CHF",
    "CNY", "COP", "CRC", "CUP", "CVE", "CZK", "DKK", "DOP", "DZD", "EGP", "ERN", "ETB", "EUR",
    "FJD", "FKP", "GBP", "GEL", "GHS", "GIP", "GMD", "GTQ", "GYD", "HKD", "HNL", "HTG", "HUF",
    "IDR", "ILS", "INR", "IRR", "JMD", "KES", "KGS", "KHR", "KPW", "KYD", "KZT", "LAK", "LBP",
    "LKR", "LRD", "LSL", "MAD", "MDL", "MGA", "MKD", "MMK", "MNT", "MOP", "MRU", "MUR", "MVR",
    "MWK", "MXN", "MYR", "MZN", "NAD", "NGN", "NIO", "NOK", "NPR", "NZD", "PAB", "PEN", "PGK",
    "PHP", "PKR", "PLN", "QAR", "RON", "RSD", "RUB", "SAR", "SBD", "SCR", "SDG", "SEK", "SGD",
    "SHP", "SLE", "SOS", "SRD", "SSP", "STN", "SVC", "SYP", "SZL", "THB", "TJS", "TMT", "TOP",
    "TRY", "TTD", "TWD", "TZS", "UAH", "USD", "UYU", "UZS", "VED", "VES", "WST", "XCD", "XCG",
    "YER", "ZAR", "ZMW", "ZWG"};
constexpr std::string_view kNoDigits[] = {"BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW",
                                          "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"};
constexpr std::string_view kThreeDigits[] = {"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"};
constexpr std::string_view kFourDigits[] = {"CLF", "UYW"};

template <size_t N>
bool Has(const std::string_view (&codes)[N], std::string_view code) {
  return std::binary_search(std::begin(codes), std::end(codes), code);
}

int64_t PowerOfTen(int digits) {
  int64_t power = 1;
  while (digits-- > 0) power *= 10;
  return power;
}

}  // namespace

std::optional<int> MinorUnitDigits(std::string_view currency) {
  if (Has(kTwoDigits, currency)) return 2;
  if (Has(kNoDigits, currency)) return 0;
  if (Has(kThreeDigits, currency)) return 3;
  if (Has(kFourDigits, currency)) return 4;
  return std::nullopt;
}

absl::StatusOr<Money> ParseMoney(std::string_view amount, std::string_view currency) {
  std::string code(currency);
  for (char& c : code) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
  const std::optional<int> digits = MinorUnitDigits(code);
  if (!digits) {
    return absl::InvalidArgumentError(
        absl::StrCat("expected an ISO 4217 currency such as EUR, not \"", code, "\""));
  }
  const bool negative = !amount.empty() && amount[0] == '-';
  const std::string_view unsigned_amount = amount.substr(negative ? 1 : 0);
  int64_t units = 0;
  int decimals = -1;  // -1 until the point is seen
  bool any_digit = false, well_formed = !unsigned_amount.empty();
  for (const char c : unsigned_amount) {
    if (c == '.' && decimals < 0) {
      decimals = 0;
    } else if (c >= '0' && c <= '9') {
      any_digit = true;
      if (decimals >= 0) ++decimals;
      if (decimals > *digits && c != '0') well_formed = false;
      if (decimals <= *digits) units = units * 10 + (c - '0');
      if (units > kMaxMinorUnits) break;
    } else {
      well_formed = false;
    }
  }
  // "250.000" is a quarter of a million where a point groups thousands: too likely to guess.
  if (decimals == 3 && *digits < 3) well_formed = false;
  if (!well_formed || !any_digit) {
    return absl::InvalidArgumentError(absl::StrCat("expected a plain amount in ", code,
                                                   " with at most ", *digits, " decimals, such as ",
                                                   *digits == 0 ? "1375" : "13.75"));
  }
  if (units <= kMaxMinorUnits) units *= PowerOfTen(*digits - std::clamp(decimals, 0, *digits));
  if (units > kMaxMinorUnits) {
    return absl::InvalidArgumentError(
        absl::StrCat("expected an amount of at most ", FormatMoney({kMaxMinorUnits, code})));
  }
  return Money{negative ? -units : units, code};
}

std::string FormatMoney(const Money& money) {
  const int digits = MinorUnitDigits(money.currency).value_or(0);
  const int64_t scale = PowerOfTen(digits);
  const int64_t magnitude = std::abs(money.minor_units);
  std::string text = absl::StrCat(money.minor_units < 0 ? "-" : "", magnitude / scale);
  if (digits > 0) absl::StrAppendFormat(&text, ".%0*d", digits, magnitude % scale);
  return absl::StrCat(text, " ", money.currency);
}

}  // namespace plumblane
