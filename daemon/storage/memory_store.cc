#include "storage/memory_store.h"

namespace plumblane {
namespace {

class MemorySnapshot final : public Snapshot {
 public:
  explicit MemorySnapshot(std::shared_ptr<const MemoryStore::Spaces> spaces)
      : spaces_(std::move(spaces)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    const auto& map = Of(space);
    const auto it = map.find(key);
    return it == map.end() ? std::nullopt : std::optional(it->second);
  }

  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    std::vector<std::optional<std::string>> values;
    values.reserve(keys.size());
    for (const std::string& key : keys) values.push_back(*Get(space, key));
    return values;
  }

  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    const auto& map = Of(space);
    for (auto it = map.lower_bound(std::max(prefix, from)); it != map.end(); ++it) {
      if (!std::string_view(it->first).starts_with(prefix) || !each(it->first, it->second)) break;
    }
    return absl::OkStatus();
  }

 private:
  const MemoryStore::Map& Of(Space space) const { return (*spaces_)[static_cast<size_t>(space)]; }

  const std::shared_ptr<const MemoryStore::Spaces> spaces_;
};

}  // namespace

std::shared_ptr<const Snapshot> MemoryStore::TakeSnapshot() const {
  std::lock_guard lock(mutex_);
  shared_ = true;
  return std::make_shared<MemorySnapshot>(spaces_);
}

absl::Status MemoryStore::Write(const Batch& batch, bool /*sync*/) {
  std::lock_guard lock(mutex_);
  // A count of owners would tell who still looks, but not that the last one has finished reading.
  if (shared_) spaces_ = std::make_shared<Spaces>(*spaces_);
  shared_ = false;
  for (const Batch::Change& change : batch.changes) {
    Map& map = (*spaces_)[static_cast<size_t>(change.space)];
    if (change.value) {
      map[change.key] = *change.value;
    } else {
      map.erase(change.key);
    }
  }
  return absl::OkStatus();
}

}  // namespace plumblane
