// Civil days at a destination: what "by the 5th of March" means in Sweden or New Zealand.
//
// A bare date is a day at the destination. The zones of a country come from the system's table of
// zones by country (tzdata). A country with several zones uses, for each date, the one that is
// last to end its day, so a promise is never cut short; an unknown code uses the fallback zone.
//
// A question costs some 0.15 us for each zone of the country whose clocks have differed from the
// others' since 2020 (8 of the USA's 29), and of earlier moments for each zone at all.
#pragma once

#include <absl/status/statusor.h>
#include <absl/time/time.h>

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"

namespace plumblane {

// Immutable after loading; safe for concurrent use.
class Zones {
 public:
  // Reads the system's table. `fallback` is an IANA name ("UTC", "Europe/Berlin") for destinations
  // that are no known country. Errors: the table is missing, the fallback is unknown.
  static absl::StatusOr<Zones> Load(const std::string& fallback = "UTC");

  // First and last millisecond of `date` at `destination`, a lane end: a country code or a
  // UN/LOCODE, which is five characters beginning with one; for all others the fallback.
  Instant StartOfDay(Day date, std::string_view destination) const;
  Instant LastMillisOfDay(Day date, std::string_view destination) const;

  // The day of `t` at `destination`; of several zones that of the one whose day ends last, so that
  // the day of StartOfDay(d) is d.
  Day DayAt(Instant t, std::string_view destination) const;

  // The last millisecond of the day that lies `days` whole days after the day of `t` at
  // `destination`.
  Instant PromiseAfter(Instant t, int days, std::string_view destination) const;

 private:
  struct Country {
    std::vector<absl::TimeZone> zones;
    std::vector<absl::TimeZone> recent;  // of those alike since kRecent the first only
  };
  // Those to go through for moments from `earliest` on.
  const std::vector<absl::TimeZone>& ZonesOf(std::string_view destination, Instant earliest) const;

  std::map<std::string, Country, std::less<>> by_country_;
  std::vector<absl::TimeZone> fallback_;
};

}  // namespace plumblane
