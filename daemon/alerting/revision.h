// What corrections make of alerts that were told.
//
// A replay of corrected days may move an alert, take it away or raise one that should have been
// told. None of this may happen in silence: Compare names each.
//
// Pure and thread-safe. O(told * replayed).
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "alerting/watch.h"

namespace plumblane {

struct Revision {
  enum class Kind {
    kSame,       // nothing that was told is wrong; it may have closed since
    kRevised,    // it stands, with other days or counts
    kUnfounded,  // by the corrected days it would not have opened
    kNew,        // not told so far
  };
  Kind kind = Kind::kSame;
  std::optional<size_t> told, replayed;  // positions; none where there is none
  // kRevised: which facts differ.
  bool opening = false, change = false, counts = false, closing = false;
  // kNew: it opened on a day that was taken when the others were told, so it comes late.
  bool is_late = false;
  bool operator==(const Revision&) const = default;
};

// `told_through`: the last day taken when the told ones were told. What is replayed after it is
// news, not correction. An alert is found again in the one that opened on the same day or else, of
// those that span a day in common, the earliest; each once. In order of `told`, then the new ones.
// REQUIRES: both ascending by opening day, none of `told` later than told_through.
std::vector<Revision> Compare(std::span<const AlertFacts> told, Day told_through,
                              std::span<const Alert> replayed);

}  // namespace plumblane
