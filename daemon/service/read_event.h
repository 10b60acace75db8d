// Events of the API into events of the engine: every check of what can be wrong in an event itself.
#pragma once

#include <plumblane/v1/event.pb.h>

#include <optional>
#include <string>

#include "base/zones.h"
#include "engine/submission.h"

namespace plumblane {

// Why an event is not taken.
struct Rejection {
  std::string code;     // MISSING_FIELD, BAD_VALUE, FIELD_CONFLICT, TIME_AHEAD
  std::string field;    // as in the API
  std::string message;  // what was expected
};

// An event may lie this far ahead of the moment it is received, for clocks that are not exact.
inline constexpr int64_t kMaxAheadMillis = kMillisPerDay;

inline constexpr int64_t kMaxUnits = 1'000'000;  // of one order

// Reads into `out`, which is as it was made; its value is of no use when the event is rejected.
// `received` is wall time. A promise given in days is resolved with the zones of the event's own
// destination. Pure and thread-safe.
std::optional<Rejection> ReadEvent(const v1::Event& in, const Zones& zones, Instant received,
                                   OrderEvent& out);

}  // namespace plumblane
