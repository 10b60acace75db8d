// Money: integer minor units with an ISO 4217 code. Never a floating-point number. Sums that do not
// come out even are rounded once, at the end, half to even: of many such roundings none leans up.
//
// Pure and thread-safe.
#pragma once

#include <absl/status/statusor.h>

#include <algorithm>
#include <compare>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace plumblane {

// The largest amount one event may carry, either sign: sums of 900 million of them fit in int64.
inline constexpr int64_t kMaxMinorUnits = 10'000'000'000;

// An ISO 4217 code, three upper-case letters, or "" for none: four bytes, as every event may hold
// five of them.
class Currency {
 public:
  constexpr Currency() = default;
  // What is longer than three letters is none.
  constexpr Currency(std::string_view code) {
    if (code.size() < sizeof letters_) std::copy(code.begin(), code.end(), letters_);
  }
  constexpr Currency(const char* code) : Currency(std::string_view(code)) {}
  Currency(const std::string& code) : Currency(std::string_view(code)) {}

  constexpr std::string_view code() const { return letters_; }
  constexpr operator std::string_view() const { return code(); }
  operator std::string() const { return std::string(code()); }
  constexpr bool empty() const { return letters_[0] == 0; }
  auto operator<=>(const Currency&) const = default;

 private:
  char letters_[4] = {};
};

struct Money {
  int64_t minor_units = 0;  // cents for EUR, whole yen for JPY, fils for KWD
  Currency currency;
  auto operator<=>(const Money&) const = default;
};

// How many decimal digits the currency's minor unit has (ISO 4217:2015 table A.1): 2 for EUR, 0
// for JPY, 3 for KWD. None for a code that is not in the table.
std::optional<int> MinorUnitDigits(std::string_view currency);

// Reads a currency in any case, "eur" as EUR. Error: what was expected.
absl::StatusOr<std::string> ParseCurrency(std::string_view text);

// Reads a plain decimal amount in major units, "13.75", with at most as many decimals as the
// currency has; no thousands separators, no exponent. Zeros beyond that ("1375.00" JPY) are taken,
// except exactly three decimals, which may be a group of thousands. `currency` is taken in any
// case. Errors name what was expected; amounts beyond kMaxMinorUnits are errors.
absl::StatusOr<Money> ParseMoney(std::string_view amount, std::string_view currency);

// "13.75 EUR".
std::string FormatMoney(const Money& money);

// REQUIRES: 0 <= digits <= 18.
constexpr int64_t PowerOfTen(int digits) {
  int64_t power = 1;
  while (digits-- > 0) power *= 10;
  return power;
}

// The nearest integer to the quotient; of two as near, the even one. REQUIRES: denominator > 0.
int64_t DivideHalfEven(int64_t numerator, int64_t denominator);

// minor_units * numerator / denominator: the product is exact, the quotient rounded half to even.
// Error OUT_OF_RANGE: beyond int64. REQUIRES: denominator > 0.
absl::StatusOr<int64_t> MultiplyHalfEven(int64_t minor_units, int64_t numerator,
                                         int64_t denominator);

// Parts in proportion to the weights that always add up to the whole: each gets its share rounded
// towards 0, what is left goes one by one to the largest remainders, of equal ones to the first.
// A weight of 0 gets nothing.
// REQUIRES: no weight is negative, their sum is above 0 and within int64.
std::vector<int64_t> SplitByWeights(int64_t whole, std::span<const int64_t> weights);

}  // namespace plumblane
