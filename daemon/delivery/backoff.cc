#include "delivery/backoff.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "base/hash.h"
#include "base/philox.h"

namespace plumblane {

std::chrono::milliseconds WaitAfter(const Backoff& backoff, std::string_view sink, int64_t cursor,
                                    int failures) {
  assert(failures >= 1);
  StableHash name;
  name.Text(sink);
  const double most = std::min(std::ldexp(static_cast<double>(backoff.first.count()), failures - 1),
                               static_cast<double>(backoff.longest.count()));
  const double share =
      Uniform(name.value(), static_cast<uint64_t>(cursor), static_cast<uint64_t>(failures));
  return std::chrono::milliseconds(static_cast<int64_t>(most * share));
}

}  // namespace plumblane
