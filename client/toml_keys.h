// What the readers of TOML files have in common. Pure and thread-safe.
#pragma once

#include <toml++/toml.h>

#include <algorithm>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {

inline int64_t LineOf(const toml::node& node) { return node.source().begin.line; }

// Calls `refuse` with line, key and what was expected for every key that is none of `known`.
template <typename Refuse>
void CheckKeys(const toml::table& table, std::span<const std::string_view> known, Refuse refuse) {
  for (const auto& [key, node] : table) {
    if (std::find(known.begin(), known.end(), key.str()) != known.end()) continue;
    const std::string meant = DidYouMean(key.str(), Strings(known));
    refuse(int64_t{key.source().begin.line}, key.str(),
           "unknown key" + (meant.empty() ? "; expected of " + Listed(Strings(known)) : meant));
  }
}

}  // namespace plumblane::client
