// A part of a store as a store of its own: what begins with a prefix, which its user does not see.
//
// So several states lie in one store, each whole by itself, and none pays for the others. Writing
// is atomic within one Batch as before; the store beneath must allow several threads to write, as
// ours do.
#pragma once

#include <memory>
#include <string>
#include <utility>

#include "storage/store.h"

namespace plumblane {

// Reads `under` as if there were only what begins with `prefix`.
class PrefixedSnapshot final : public Snapshot {
 public:
  PrefixedSnapshot(std::shared_ptr<const Snapshot> under, std::string prefix)
      : under_(std::move(under)), prefix_(std::move(prefix)) {}

  absl::StatusOr<std::optional<std::string>> Get(Space space, std::string_view key) const override;
  absl::StatusOr<std::vector<std::optional<std::string>>> GetAll(
      Space space, const std::vector<std::string>& keys) const override;
  absl::Status Scan(Space space, std::string_view prefix, std::string_view from,
                    const Each& each) const override;
  Scanner ScannerOf(Space space) const override;

 private:
  absl::Status Scan(const Scanner& under, std::string_view prefix, std::string_view from,
                    const Each& each) const;

  const std::shared_ptr<const Snapshot> under_;
  const std::string prefix_;
};

class PrefixedStore final : public Store {
 public:
  // `under` must outlive it.
  PrefixedStore(Store& under, std::string prefix) : under_(under), prefix_(std::move(prefix)) {}

  std::shared_ptr<const Snapshot> TakeSnapshot() const override {
    return std::make_shared<PrefixedSnapshot>(under_.TakeSnapshot(), prefix_);
  }
  absl::Status Write(const Batch& batch, bool sync) override;

 private:
  Store& under_;
  const std::string prefix_;
};

}  // namespace plumblane
