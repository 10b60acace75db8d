#include "storage/memory_store.h"

#include <algorithm>

namespace plumblane {

void WriteInto(SpaceMaps& spaces, const Batch& batch) {
  for (const Batch::Change& change : batch.changes) {
    SpaceMap& map = spaces[static_cast<size_t>(change.space)];
    if (change.value) {
      map[change.key] = *change.value;
    } else {
      map.erase(change.key);
    }
  }
}

absl::StatusOr<std::optional<std::string>> MapsSnapshot::Get(Space space,
                                                             std::string_view key) const {
  const SpaceMap& map = Of(space);
  const auto it = map.find(key);
  return it == map.end() ? std::nullopt : std::optional(it->second);
}

absl::StatusOr<std::vector<std::optional<std::string>>> MapsSnapshot::GetAll(
    Space space, const std::vector<std::string>& keys) const {
  std::vector<std::optional<std::string>> values;
  values.reserve(keys.size());
  for (const std::string& key : keys) values.push_back(*Get(space, key));
  return values;
}

absl::Status MapsSnapshot::Scan(Space space, std::string_view prefix, std::string_view from,
                                const Each& each) const {
  const SpaceMap& map = Of(space);
  for (auto it = map.lower_bound(std::max(prefix, from)); it != map.end(); ++it) {
    if (!std::string_view(it->first).starts_with(prefix) || !each(it->first, it->second)) break;
  }
  return absl::OkStatus();
}

std::shared_ptr<const Snapshot> MemoryStore::TakeSnapshot() const {
  std::lock_guard lock(mutex_);
  shared_ = true;
  return std::make_shared<MapsSnapshot>(spaces_);
}

absl::Status MemoryStore::Write(const Batch& batch, bool /*sync*/) {
  std::lock_guard lock(mutex_);
  // A count of owners would tell who still looks, but not that the last one has finished reading.
  if (shared_) spaces_ = std::make_shared<SpaceMaps>(*spaces_);
  shared_ = false;
  WriteInto(*spaces_, batch);
  return absl::OkStatus();
}

}  // namespace plumblane
