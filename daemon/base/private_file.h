// A file that others than its owner must not read, or must not change.
#pragma once

#include <absl/status/statusor.h>

#include <string>

namespace plumblane {

// What a file's rights must not let others do.
enum class Barred {
  kNothing,
  kChanging,         // by group and all
  kReadingByAll,     // the group may: that is how a service manager hands keys over
  kReadingByOthers,  // by group and all
};

// All of a regular file. Errors INVALID_ARGUMENT, which name the file and show nothing of it:
// cannot be read, or its rights let others do what is barred.
absl::StatusOr<std::string> ReadPrivateFile(const std::string& path, Barred barred);

}  // namespace plumblane
