// A program of the user's: each message as a CloudEvents document on its standard input.
//
// It runs without a shell, one at a time, in a process group of its own, with an environment of
// PATH and LANG only and no open files but the three standard ones; what it prints is dropped, but
// the beginning of what it says on standard error is told. When it ends, or its time is over, or
// the daemon stops, whatever is left of its group is killed.
//
//   exit code 0                            delivered
//   75 (EX_TEMPFAIL), a signal, no time    failed: tried again; so is a program that cannot start
//   others                                 refused
#pragma once

#include <string>
#include <vector>

#include "delivery/sink.h"

namespace plumblane {

struct HookOptions {
  std::vector<std::string> command;  // absolute path and arguments; empty = none
  int64_t timeout_seconds = 30;
};

class Hook final : public Sink {
 public:
  explicit Hook(HookOptions options) : options_(std::move(options)) {}
  SendResult Send(std::span<const Message> messages, Instant now, const StopEvent& stop) override;

 private:
  const HookOptions options_;
};

}  // namespace plumblane
