// A file whose room nobody needs, given up when the disk is nearly full: a daemon that has to be
// started again then can still write what opening its data takes, and so answer questions. Whoever
// clears up the disk may delete it, too.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <string>

namespace plumblane {

// One thread at a time.
class Ballast {
 public:
  // 0 bytes: none is ever made.
  Ballast(const std::string& directory, int64_t bytes);

  // Makes it, all or nothing, unless it is there in that size. Errors: RESOURCE_EXHAUSTED without
  // room, UNIMPLEMENTED where the file system cannot reserve room, UNAVAILABLE for the rest.
  absl::Status Keep();
  // True when it was there and is not any more.
  bool GiveUp();

  int64_t bytes() const { return bytes_; }

 private:
  const std::string path_;
  const int64_t bytes_;
};

}  // namespace plumblane
