// In a store that follows a log elsewhere, in the space kMeta: the id of that log. Such a store has
// no log of its own, or the end of one that it had before.
#pragma once

#include <string_view>

namespace plumblane {

inline constexpr std::string_view kLogElsewhereKey = "log";

}  // namespace plumblane
