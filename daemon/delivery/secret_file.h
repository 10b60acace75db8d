// A secret that stands alone in a file.
#pragma once

#include <absl/status/statusor.h>

#include <string>

namespace plumblane {

// Its first line. Errors, which name the file and show nothing of it: not readable, readable by
// others than its owner, empty, more than 4 KiB.
absl::StatusOr<std::string> ReadSecretFile(const std::string& path);

}  // namespace plumblane
