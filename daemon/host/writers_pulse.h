// Whether the writer still works.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>

#include "engine/desk.h"

namespace plumblane {

// Belongs to one thread.
class WritersPulse {
 public:
  // `engine` must outlive it.
  explicit WritersPulse(Desk& engine);

  // Whether the committer has taken something since the last call: an entry, or the empty
  // submission that is sent for this and waited for. After a failed write that one is answered too:
  // nothing hangs, and what is to be done then is not for this to say.
  bool BeatsWithin(std::chrono::milliseconds time);

 private:
  struct Asked;

  Desk& engine_;
  uint64_t entries_;              // applied at the last call
  std::shared_ptr<Asked> asked_;  // not answered yet, or none
};

}  // namespace plumblane
