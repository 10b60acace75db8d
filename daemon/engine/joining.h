// What several partitions hold of the same thing, as the one thing that a daemon with all orders
// would hold. Pure. Private to engine/.
//
// Cells, counts and sums are added: they are integers, so nothing depends on how orders are spread.
// News of a source and what is done to a send are told to every partition (split.h), and hold once
// all have them: until then the whole is as it was before.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "engine/catalog.h"
#include "engine/sends.h"
#include "storage/store.h"

namespace plumblane {

// A value and the partition that has it.
template <typename Value>
struct Held {
  uint32_t partition = 0;
  Value value;
};

// REQUIRES of all: ascending by partition, at least one, of `partitions` there are.

Source JoinSources(std::span<const Held<const Source*>> held, uint32_t partitions);

// Its sequences are those of partitions, so only whether there are any says something.
Send JoinSends(std::span<const Held<Send>> held, uint32_t partitions);

// Adds the numbers of a partition: how far it is, orders, events, the latest of times.
void JoinProgress(const Catalog& part, Catalog& whole);

// The value of a key that these partitions have. Error DATA_LOSS: malformed.
absl::StatusOr<std::string> JoinValues(Space space, std::string_view key,
                                       std::span<const Held<std::string_view>> held,
                                       uint32_t partitions);

}  // namespace plumblane
