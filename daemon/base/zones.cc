#include "base/zones.h"

#include <absl/strings/str_cat.h>
#include <absl/time/civil_time.h>

#include <algorithm>
#include <fstream>
#include <sstream>

namespace plumblane {
namespace {

constexpr char kTable[] = "/usr/share/zoneinfo/zone.tab";

absl::CivilDay Civil(Day date) { return absl::CivilDay(1970, 1, 1) + date.number; }

Instant StartIn(absl::CivilDay date, absl::TimeZone zone) {
  return {absl::ToUnixMillis(absl::FromCivil(date, zone))};
}

Instant LastMillisIn(absl::CivilDay date, absl::TimeZone zone) {
  return StartIn(date + 1, zone) - 1;
}

// Zones whose clocks are alike from here on are gone through once; 1 January 2020.
constexpr Instant kRecent{1'577'836'800'000};

// Whether clocks show the same in both, from kRecent on. By 2100 every rule has shown itself.
bool AreAlike(absl::TimeZone a, absl::TimeZone b) {
  const absl::Time end = absl::FromCivil(absl::CivilYear(2100), absl::UTCTimeZone());
  absl::Time at = absl::FromUnixMillis(kRecent.millis);
  if (a.At(at).offset != b.At(at).offset) return false;
  for (absl::TimeZone::CivilTransition of_a, of_b; at < end; at = absl::FromCivil(of_a.from, a)) {
    const bool changes = a.NextTransition(at, &of_a);
    if (changes != b.NextTransition(at, &of_b)) return false;
    if (!changes) return true;
    if (of_a.from != of_b.from || of_a.to != of_b.to) return false;
  }
  return true;
}

}  // namespace

absl::StatusOr<Zones> Zones::Load(const std::string& fallback) {
  Zones zones;
  absl::TimeZone zone;
  if (!absl::LoadTimeZone(fallback, &zone)) {
    return absl::InvalidArgumentError(absl::StrCat("unknown time zone \"", fallback,
                                                   "\", expected a name such as Europe/Berlin"));
  }
  zones.fallback_.push_back(zone);
  std::ifstream table(kTable);
  if (!table) return absl::FailedPreconditionError(absl::StrCat("cannot read ", kTable));
  for (std::string line; std::getline(table, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::istringstream fields(line);
    std::string country, coordinates, name;
    fields >> country >> coordinates >> name;
    if (!absl::LoadTimeZone(name, &zone)) continue;
    auto& [all, recent] = zones.by_country_[country];
    all.push_back(zone);
    const auto is_alike = [zone](absl::TimeZone other) { return AreAlike(zone, other); };
    if (std::none_of(recent.begin(), recent.end(), is_alike)) recent.push_back(zone);
  }
  return zones;
}

const std::vector<absl::TimeZone>& Zones::ZonesOf(std::string_view destination,
                                                  Instant earliest) const {
  // A UN/LOCODE is a country code and three more characters.
  if (destination.size() == 2 || destination.size() == 5) {
    const auto it = by_country_.find(destination.substr(0, 2));
    if (it != by_country_.end()) {
      return earliest >= kRecent ? it->second.recent : it->second.zones;
    }
  }
  return fallback_;
}

Instant Zones::StartOfDay(Day date, std::string_view destination) const {
  // The start of the day in the zone that is last to end it, so one civil day is one 24-hour span.
  Instant best_end{INT64_MIN}, start{};
  for (const absl::TimeZone& zone : ZonesOf(destination, StartOf(date - 1))) {
    const Instant end = LastMillisIn(Civil(date), zone);
    if (end > best_end) {
      best_end = end;
      start = StartIn(Civil(date), zone);
    }
  }
  return std::max(start, kEarliestInstant);
}

Instant Zones::LastMillisOfDay(Day date, std::string_view destination) const {
  Instant last{INT64_MIN};
  for (const absl::TimeZone& zone : ZonesOf(destination, StartOf(date - 1))) {
    last = std::max(last, LastMillisIn(Civil(date), zone));
  }
  return std::clamp(last, kEarliestInstant, kLatestInstant);
}

Day Zones::DayAt(Instant t, std::string_view destination) const {
  Instant last{INT64_MIN};
  absl::CivilDay day;
  for (const absl::TimeZone& zone : ZonesOf(destination, t)) {
    const absl::CivilDay date = absl::ToCivilDay(absl::FromUnixMillis(t.millis), zone);
    const Instant end = LastMillisIn(date, zone);
    if (end > last) {
      last = end;
      day = date;
    }
  }
  return Day{static_cast<int32_t>(day - absl::CivilDay(1970, 1, 1))};
}

Instant Zones::PromiseAfter(Instant t, int days, std::string_view destination) const {
  Instant last{INT64_MIN};
  for (const absl::TimeZone& zone : ZonesOf(destination, t)) {
    const absl::CivilDay date = absl::ToCivilDay(absl::FromUnixMillis(t.millis), zone);
    last = std::max(last, LastMillisIn(date + days, zone));
  }
  return std::clamp(last, kEarliestInstant, kLatestInstant);
}

}  // namespace plumblane
