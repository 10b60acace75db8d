// A submission divided by partition. Pure. Private to engine/.
//
//   events, assignments, purges      to the partition of their order
//   news of a source, excuses, sends taken back, orders and suppliers erased
//                                    to every partition, as what they mean bears on orders of all;
//                                    each may be repeated, so a division that was cut short is
//                                    handed in again
//   all else                         to partition 0
//
// A partition that is told something by a send it does not know learns of it by the same
// submission: a send has its number from partition 0 and begins elsewhere when it is first needed.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "engine/catalog.h"
#include "engine/submission.h"

namespace plumblane {

struct PartOfSubmission {
  uint32_t partition = 0;
  Submission content;
  std::vector<size_t> events;  // where they stand in the whole, ascending
};

// Ascending by partition; nothing for an empty submission. `catalog` is that of all partitions, and
// `is_open` says whether a send has begun and takes events.
std::vector<PartOfSubmission> Split(Submission&& whole, uint32_t partitions, const Catalog& catalog,
                                    const std::function<bool(int64_t)>& is_open);

}  // namespace plumblane
