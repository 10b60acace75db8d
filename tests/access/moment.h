#pragma once

#include <string>

#include "base/time.h"

namespace plumblane::test {

// "2026-07-01T00:00", UTC.
inline Instant At(const std::string& text) { return ParseInstant(text + ":00Z").value(); }

}  // namespace plumblane::test
