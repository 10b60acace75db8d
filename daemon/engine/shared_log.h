// Where an engine stands that shares its log with those of other daemons.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.h"

namespace plumblane {

struct SharedLog {
  bool follows = false;
  std::string owners_address;  // "" = nobody is known to take events
  uint64_t tail = 0;           // of the log, when that was last asked
  // All that was in the log by then is applied; none = not since the start.
  std::optional<Instant> as_of;
};

}  // namespace plumblane
