// Exchange rates the user gave. No rate, no sum: nothing is guessed and nothing is looked up.
//
// Not thread-safe for changes; const use is.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/money.h"
#include "base/time.h"

namespace plumblane {

// One major unit of `from` is worth units / 10^decimals major units of `to`.
struct ExchangeRate {
  std::string from, to;  // ISO 4217, different
  int64_t units = 0;     // > 0, at most 18 digits
  int decimals = 0;      // 0..12; at most 12 digits before them
  Day date;              // holds from then on until a later one
  bool operator==(const ExchangeRate&) const = default;
};

// Reads "0.9213", at most 12 digits before the point, 12 behind it, 18 in all; currencies in any
// case. Errors say what was expected. Zeros at the end are dropped.
absl::StatusOr<ExchangeRate> ParseExchangeRate(std::string_view from, std::string_view to,
                                               std::string_view rate, Day date);
std::string FormatRate(const ExchangeRate& rate);

// One exact product, rounded half to even once, at the end. Inverse: by 10^decimals / units.
// Error OUT_OF_RANGE: beyond int64.
absl::StatusOr<int64_t> ConvertMinorUnits(int64_t minor_units, const ExchangeRate& rate,
                                          bool inverse);

class ExchangeBook {
 public:
  // A later rate of the same currencies and date replaces the earlier.
  void Load(const std::vector<ExchangeRate>& rates);

  struct Conversion {
    Money money;
    const ExchangeRate* rate = nullptr;  // the book's, until the next load; null: same currency
    bool inverse = false;                // given the other way round
  };
  // At the latest rate of `day` or before, given either way round (of one day: as asked). Error
  // NOT_FOUND: names the currencies and the day. Error OUT_OF_RANGE: as ConvertMinorUnits.
  absl::StatusOr<Conversion> Convert(const Money& money, const std::string& to, Day day) const;

  // By (from, to), then by date.
  const std::map<std::pair<std::string, std::string>, std::map<Day, ExchangeRate>>& all() const {
    return rates_;
  }

 private:
  std::map<std::pair<std::string, std::string>, std::map<Day, ExchangeRate>> rates_;
};

}  // namespace plumblane
