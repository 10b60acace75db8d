// Where a desk stands that shares its log with those of other daemons.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"

namespace plumblane {

// One partition of it.
struct SharedPart {
  bool is_mine = false;
  bool is_held = true;         // no: it would be followed here if it were owned
  std::string owners_address;  // "" = nobody is known to take events
  uint64_t applied = 0;        // entries
  uint64_t tail = 0;           // of the log, when that was last asked
  // All that was in the log by then is applied; none = not since the start.
  std::optional<Instant> as_of;

  // Not followed, or not for so long that what is told of the whole may be too low.
  bool is_missing(Instant now) const {
    return !is_held || !as_of || *as_of < now - kMissingAfterMillis;
  }
  static constexpr int64_t kMissingAfterMillis = 10'000;
};

struct SharedLog {
  // Of partition 0: who owns it is the one who tells of alerts.
  bool follows = false;
  std::string owners_address;
  uint64_t tail = 0;             // of all partitions, added
  std::optional<Instant> as_of;  // of the partition that is behind most
  std::vector<SharedPart> parts;
  // Where all partitions are followed, when they are not here; "" = nowhere that is known.
  std::string whole_address;

  bool HoldsAll() const {
    return std::all_of(parts.begin(), parts.end(), [](const auto& part) { return part.is_held; });
  }
  int MissingParts(Instant now) const {
    int missing = 0;
    for (const SharedPart& part : parts) missing += part.is_missing(now) ? 1 : 0;
    return missing;
  }
};

}  // namespace plumblane
