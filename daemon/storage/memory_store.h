// A store in memory, for tests and simulation, and its parts for whoever makes a state of its own.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <utility>

#include "storage/store.h"

namespace plumblane {

using SpaceMap = std::map<std::string, std::string, std::less<>>;
using SpaceMaps = std::array<SpaceMap, kSpaceCount>;

void WriteInto(SpaceMaps& spaces, const Batch& batch);

// Reads maps. Whoever changes them sees to it that nobody reads meanwhile.
class MapsSnapshot final : public Snapshot {
 public:
  explicit MapsSnapshot(std::shared_ptr<const SpaceMaps> spaces) : spaces_(std::move(spaces)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override;
  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override;
  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override;

 private:
  const SpaceMap& Of(Space space) const { return (*spaces_)[static_cast<size_t>(space)]; }

  const std::shared_ptr<const SpaceMaps> spaces_;
};

// Snapshots share the maps and copy on write.
class MemoryStore final : public Store {
 public:
  std::shared_ptr<const Snapshot> TakeSnapshot() const override;
  absl::Status Write(const Batch& batch, bool sync) override;

 private:
  mutable std::mutex mutex_;
  std::shared_ptr<SpaceMaps> spaces_ = std::make_shared<SpaceMaps>();  // guarded by mutex_
  // A snapshot was taken since the last write. Guarded by mutex_.
  mutable bool shared_ = false;
};

}  // namespace plumblane
