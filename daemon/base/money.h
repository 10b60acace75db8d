// Money: integer minor units with an ISO 4217 code. Never a floating-point number.
#pragma once

#include <absl/status/statusor.h>

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace plumblane {

// The largest amount one event may carry, either sign: sums of 900 million of them fit in int64.
inline constexpr int64_t kMaxMinorUnits = 10'000'000'000;

struct Money {
  int64_t minor_units = 0;  // cents for EUR, whole yen for JPY, fils for KWD
  std::string currency;     // ISO 4217, three upper-case letters
  auto operator<=>(const Money&) const = default;
};

// How many decimal digits the currency's minor unit has (ISO 4217:2015 table A.1): 2 for EUR, 0
// for JPY, 3 for KWD. None for a code that is not in the table.
std::optional<int> MinorUnitDigits(std::string_view currency);

// Reads a plain decimal amount in major units, "13.75", with at most as many decimals as the
// currency has; no thousands separators, no exponent. Zeros beyond that ("1375.00" JPY) are taken,
// except exactly three decimals, which may be a group of thousands. `currency` is taken in any
// case. Errors name what was expected; amounts beyond kMaxMinorUnits are errors.
absl::StatusOr<Money> ParseMoney(std::string_view amount, std::string_view currency);

// "13.75 EUR".
std::string FormatMoney(const Money& money);

}  // namespace plumblane
