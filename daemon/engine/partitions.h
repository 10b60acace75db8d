// Into how many parts the state is divided, and which order belongs to which.
//
// The number is fixed when a log is made. A partition has a log, an owner and a state of its own:
// all that follows from its orders. What is of no order is in partition 0 (split.h). One daemon
// alone has one partition, and no prefix before its keys.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/ids.h"

namespace plumblane {

// As many as etcd makes in one transaction, and as two bytes before a key that begins with a letter
// tell apart.
inline constexpr uint32_t kMostPartitions = 120;

// On disk: never change. By the key of the order's record (storage/keys.h).
uint32_t PartitionOfRecord(std::string_view record_key, uint32_t partitions);
uint32_t PartitionOf(const OrderKey& order, uint32_t partitions);

// What all keys of a partition begin with, in a store of several.
std::string PartitionPrefix(uint32_t partition);

}  // namespace plumblane
