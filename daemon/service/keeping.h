// What the service of operations needs of the disk; it is the composition root that knows it.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <string>

#include "base/time.h"

namespace plumblane {

struct KeptCopy {
  int64_t number = 0;
  int64_t bytes = 0;
  Instant made;
  int kept = 0;  // copies in the directory
};

// Both end with CANCELLED once they are told to give up. Thread-safe; one copy at a time.
struct Keeping {
  // Reads all files and checks their checksums; DATA_LOSS names the first that is damaged.
  std::function<absl::Status(const std::function<bool()>& give_up)> check_files;
  // Adds a copy to a directory, keeping the latest `keep`, 0 = all. INVALID_ARGUMENT for a
  // directory that cannot be one of copies.
  std::function<absl::StatusOr<KeptCopy>(const std::string& directory, int keep,
                                         const std::function<bool()>& give_up)>
      back_up;
};

}  // namespace plumblane
