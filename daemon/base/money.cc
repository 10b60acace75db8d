#include "base/money.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>
#include <cassert>
#include <cstdlib>
#include <iterator>
#include <numeric>

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

__extension__ typedef __int128 Wide;  // holds every product of two int64

Wide Quotient(Wide numerator, int64_t denominator) {
  Wide floor = numerator / denominator, rest = numerator % denominator;
  if (rest < 0) {
    --floor;
    rest += denominator;
  }
  const bool up = 2 * rest > denominator || (2 * rest == denominator && floor % 2 != 0);
  return up ? floor + 1 : floor;
}

}  // namespace

std::optional<int> MinorUnitDigits(std::string_view currency) {
  if (Has(kTwoDigits, currency)) return 2;
  if (Has(kNoDigits, currency)) return 0;
  if (Has(kThreeDigits, currency)) return 3;
  if (Has(kFourDigits, currency)) return 4;
  return std::nullopt;
}

absl::StatusOr<std::string> ParseCurrency(std::string_view text) {
  std::string code(text);
  for (char& c : code) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
  if (MinorUnitDigits(code)) return code;
  return absl::InvalidArgumentError(
      absl::StrCat("expected an ISO 4217 currency such as EUR, not \"", code, "\""));
}

absl::StatusOr<Money> ParseMoney(std::string_view amount, std::string_view currency) {
  const absl::StatusOr<std::string> known = ParseCurrency(currency);
  if (!known.ok()) return known.status();
  const std::string& code = *known;
  const int digits = *MinorUnitDigits(code);
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
      if (decimals > digits && c != '0') well_formed = false;
      if (decimals <= digits) units = units * 10 + (c - '0');
      if (units > kMaxMinorUnits) break;
    } else {
      well_formed = false;
    }
  }
  // "250.000" is a quarter of a million where a point groups thousands: too likely to guess.
  if (decimals == 3 && digits < 3) well_formed = false;
  if (!well_formed || !any_digit) {
    return absl::InvalidArgumentError(absl::StrCat("expected a plain amount in ", code,
                                                   " with at most ", digits, " decimals, such as ",
                                                   digits == 0 ? "1375" : "13.75"));
  }
  if (units <= kMaxMinorUnits) units *= PowerOfTen(digits - std::clamp(decimals, 0, digits));
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
  return absl::StrCat(text, " ", std::string(money.currency));
}

int64_t DivideHalfEven(int64_t numerator, int64_t denominator) {
  return static_cast<int64_t>(Quotient(numerator, denominator));
}

absl::StatusOr<int64_t> MultiplyHalfEven(int64_t minor_units, int64_t numerator,
                                         int64_t denominator) {
  const Wide result = Quotient(static_cast<Wide>(minor_units) * numerator, denominator);
  const auto narrow = static_cast<int64_t>(result);
  if (narrow == result) return narrow;
  return absl::OutOfRangeError(absl::StrCat("expected a result within 64 bits, not ", minor_units,
                                            " * ", numerator, " / ", denominator));
}

std::vector<int64_t> SplitByWeights(int64_t whole, std::span<const int64_t> weights) {
  const int64_t sum = std::accumulate(weights.begin(), weights.end(), int64_t{0});
  assert(sum > 0);
  std::vector<int64_t> parts, remainders;
  std::vector<size_t> order;
  int64_t left = whole;
  for (const int64_t weight : weights) {
    const Wide share = static_cast<Wide>(whole) * weight;
    parts.push_back(static_cast<int64_t>(share / sum));
    remainders.push_back(std::abs(static_cast<int64_t>(share % sum)));
    order.push_back(order.size());
    left -= parts.back();
  }
  std::stable_sort(order.begin(), order.end(),
                   [&](size_t a, size_t b) { return remainders[a] > remainders[b]; });
  for (size_t i = 0; left != 0; ++i) {
    const int64_t one = left > 0 ? 1 : -1;
    parts[order[i]] += one;
    left -= one;
  }
  return parts;
}

}  // namespace plumblane
