// An order of which there is little to tell, which is most of them: one part, with no events but
// `paid`, `shipped` and `delivered`, none of them with a revision, and no replacement. Its facts
// are those that the fold (fold.h) would find; it exists so that whoever reads every order need not
// decode and fold them all.
//
// Texts point into what it was read from. Plain values.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "base/time.h"
#include "orders/fold.h"

namespace plumblane {

struct PlainSum {
  int64_t minor_units = 0;
  std::string_view currency;
};

struct PlainOrder {
  int part = 1;
  std::string_view supplier, origin, destination, service, item;  // "" = not stated
  std::optional<Promise> promise;
  std::optional<Instant> paid, shipped, delivered;
  std::optional<PlainSum> cost, quoted;
};

}  // namespace plumblane
