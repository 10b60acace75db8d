// Who may append to a partition of a log that several daemons read.
//
// The log itself refuses the appends of everybody else (Appended::kFenced), so what is said here
// may be late: it decides who tries, never what is safe.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <vector>

namespace plumblane {

// Thread-safe.
class Ownership {
 public:
  virtual ~Ownership() = default;

  // Whether this daemon is the owner from now on: nobody else was, or is any more, and it has less
  // than its share. What the owner
  // before it appended is in the log by then, and nothing of that one comes later.
  // Error UNAVAILABLE: that cannot be told now.
  virtual absl::StatusOr<bool> Acquire(uint32_t partition) = 0;

  // Lets others be the owner, as soon as they can be told.
  virtual void Release(uint32_t partition) = 0;

  // Whether this daemon is the owner, as far as is known.
  virtual bool IsMine(uint32_t partition) const = 0;

  // Whether this daemon has more partitions than its share, this one among them: it is to be
  // released as soon as what was begun is done.
  virtual bool ShallLetGo(uint32_t /*partition*/) const { return false; }

  // Where the owner takes events, as its settings say; "" = nobody is known to own it.
  virtual std::string OwnersAddress(uint32_t partition) const = 0;

  // Whether Acquire may succeed, as far as is known: for who must catch up before.
  virtual bool IsFree(uint32_t /*partition*/) const { return true; }

  // The other daemons that are alive, as far as is known.
  struct Other {
    std::string address;
    bool follows_all = true;
  };
  virtual std::vector<Other> Others() const { return {}; }
};

}  // namespace plumblane
