// Where the keys that begin with a prefix end.
#pragma once

#include <string>

namespace plumblane {

// The first key above all that begin with `prefix`; "" when there is none.
inline std::string EndOfPrefix(std::string prefix) {
  while (!prefix.empty() && prefix.back() == '\xFF') prefix.pop_back();
  if (!prefix.empty()) ++prefix.back();
  return prefix;
}

}  // namespace plumblane
