// The state before an entry while the entry before it is still being written. Private to engine/.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "storage/store.h"

namespace plumblane {

// What is asked for by GetAll is read as it was before the entry that is being written: orders and
// pages of cells, of which Apply (applier.h) keeps what that entry touched and does not ask for it,
// and marks of orders no longer kept, which no such entry changes. All else waits until it is
// written, and once it has waited GetAll reads that state as well. Thread-safe.
class LaggingSnapshot final : public Snapshot {
 public:
  // Waits until all is written, and gives the state then or why it failed. Called again it gives
  // the same; not by several at once.
  using Settle = std::function<absl::StatusOr<std::shared_ptr<const Snapshot>>()>;

  LaggingSnapshot(std::shared_ptr<const Snapshot> before, Settle settle)
      : latest_(std::move(before)), settle_(std::move(settle)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    auto all = All();
    return all.ok() ? (*all)->Get(space, key) : all.status();
  }

  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    return Latest()->GetAll(space, keys);
  }

  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    auto all = All();
    return all.ok() ? (*all)->Scan(space, prefix, from, each) : all.status();
  }

 private:
  std::shared_ptr<const Snapshot> Latest() const {
    const std::lock_guard lock(mutex_);
    return latest_;
  }

  absl::StatusOr<std::shared_ptr<const Snapshot>> All() const {
    const std::lock_guard settling(settling_);
    if (settled_) return Latest();
    auto all = settle_();
    if (!all.ok()) return all.status();
    settled_ = true;
    const std::lock_guard lock(mutex_);
    return latest_ = *std::move(all);
  }

  mutable std::mutex settling_;
  mutable bool settled_ = false;  // guarded by settling_
  mutable std::mutex mutex_;
  mutable std::shared_ptr<const Snapshot> latest_;  // guarded by mutex_
  const Settle settle_;
};

}  // namespace plumblane
