// The state of a partition that comes from another daemon, in the place of what a store has of it.
//
// From the first piece on the store has a mark: cut short, at any place, it is cleared when it is
// opened next, and has nothing. Private to the engine of that store, not thread-safe.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <string>
#include <utility>

#include "storage/store.h"

namespace plumblane {

class ArrivingState {
 public:
  // `store` must outlive it. `is_wanted` is asked now and then.
  explicit ArrivingState(
      Store& store, std::function<bool()> is_wanted = [] { return true; })
      : store_(store), is_wanted_(std::move(is_wanted)) {}

  // A record of that space; the first clears what was there. CANCELLED: no more is wanted.
  absl::Status Put(Space space, std::string key, std::string value);
  // Where the next attempt begins: what came is dropped.
  absl::Status Restart();
  // All of it has come. Synced. FAILED_PRECONDITION: nothing came.
  absl::Status End();

  // Whether what was there is gone.
  bool has_begun() const { return has_begun_; }

  static absl::Status ClearIfCutShort(Store& store);

 private:
  absl::Status Write();

  Store& store_;
  const std::function<bool()> is_wanted_;
  Batch batch_;
  size_t bytes_ = 0;
  bool has_begun_ = false;
};

}  // namespace plumblane
