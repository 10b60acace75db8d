// The state before an entry while the entry before it is still being written. Private to engine/.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <functional>
#include <memory>
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
// written. For one thread.
class LaggingSnapshot final : public Snapshot {
 public:
  // Waits until all is written, and gives the state then or why it failed. Called again it gives
  // the same.
  using Settle = std::function<absl::StatusOr<std::shared_ptr<const Snapshot>>()>;

  LaggingSnapshot(std::shared_ptr<const Snapshot> before, Settle settle)
      : latest_(std::move(before)), settle_(std::move(settle)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override {
    if (absl::Status status = WaitForAll(); !status.ok()) return status;
    return latest_->Get(space, key);
  }

  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override {
    return latest_->GetAll(space, keys);
  }

  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override {
    if (absl::Status status = WaitForAll(); !status.ok()) return status;
    return latest_->Scan(space, prefix, from, each);
  }

 private:
  absl::Status WaitForAll() const {
    if (settled_) return absl::OkStatus();
    auto all = settle_();
    if (!all.ok()) return all.status();
    latest_ = *std::move(all);
    settled_ = true;
    return absl::OkStatus();
  }

  mutable std::shared_ptr<const Snapshot> latest_;
  mutable bool settled_ = false;
  const Settle settle_;
};

}  // namespace plumblane
