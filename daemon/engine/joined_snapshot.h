// The states of all partitions read as if they were one: what a daemon with all orders would have
// stored, byte by byte, but for the numbers of log entries.
//
// Partitions are of different moments, each whole by itself. A question that reads one pair costs a
// look into each partition: so many times what it costs in one store, where it is not in memory.
#pragma once

#include <memory>
#include <vector>

#include "storage/store.h"

namespace plumblane {

class JoinedSnapshot final : public Snapshot {
 public:
  // By number of the partition; none is null.
  explicit JoinedSnapshot(std::vector<std::shared_ptr<const Snapshot>> parts)
      : parts_(std::move(parts)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override;
  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override;
  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override;

 private:
  uint32_t count() const { return static_cast<uint32_t>(parts_.size()); }

  const std::vector<std::shared_ptr<const Snapshot>> parts_;
};

// In the space kMeta of a store with several partitions, without a prefix: how many there are.
inline constexpr std::string_view kPartitionsKey = "partitions";

// 1: a store without that record. Error DATA_LOSS.
absl::StatusOr<uint32_t> PartitionsIn(const Snapshot& snapshot);

// What is stored in all, from a snapshot of the store; it itself where there is one partition.
absl::StatusOr<std::shared_ptr<const Snapshot>> WholeOf(std::shared_ptr<const Snapshot> snapshot);

}  // namespace plumblane
