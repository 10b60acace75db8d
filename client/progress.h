// How far a long run has come, on one line of a terminal that is written over. Silent anywhere
// else.
#pragma once

#include <absl/time/time.h>

#include <cstdint>

#include "client/io.h"

namespace plumblane::client {

class Progress {
 public:
  explicit Progress(const Io& io);

  // Says how many events there are so far, a few times a second.
  void Show(int64_t events);
  // Takes the line away, so that something else can be said.
  void Clear();

 private:
  const Io& io_;
  const absl::Time start_;
  absl::Time last_;
  bool is_shown_ = false;
};

}  // namespace plumblane::client
