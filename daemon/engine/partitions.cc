#include "engine/partitions.h"

#include "base/hash.h"
#include "storage/bytes.h"
#include "storage/keys.h"

namespace plumblane {

uint32_t PartitionOfRecord(std::string_view record_key, uint32_t partitions) {
  if (partitions == 1) return 0;
  StableHash hash;
  hash.Text(record_key);
  // The low bits of that hash know only the low bits of the text: the high ones of a product with
  // an odd number (Knuth's, 2^64 / golden ratio) know all.
  const uint64_t mixed = (hash.value() ^ hash.value() >> 32) * 0x9e3779b97f4a7c15u;
  return static_cast<uint32_t>((mixed >> 32) % partitions);
}

uint32_t PartitionOf(const OrderKey& order, uint32_t partitions) {
  return partitions == 1 ? 0 : PartitionOfRecord(OrderRecordKey(order), partitions);
}

std::string PartitionPrefix(uint32_t partition) {
  ByteWriter writer(2);
  writer.Big(partition, 2);
  return writer.Take();
}

}  // namespace plumblane
