// A store in memory, for tests and simulation. Snapshots share the maps and copy on write.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <mutex>
#include <string>

#include "storage/store.h"

namespace plumblane {

class MemoryStore final : public Store {
 public:
  std::shared_ptr<const Snapshot> TakeSnapshot() const override;
  absl::Status Write(const Batch& batch, bool sync) override;

  using Map = std::map<std::string, std::string, std::less<>>;
  using Spaces = std::array<Map, kSpaceCount>;

 private:
  mutable std::mutex mutex_;
  std::shared_ptr<Spaces> spaces_ = std::make_shared<Spaces>();  // guarded by mutex_
  // A snapshot was taken since the last write. Guarded by mutex_.
  mutable bool shared_ = false;
};

}  // namespace plumblane
