// How far a long run has come, on one line of a terminal that is written over. Silent anywhere
// else.
#pragma once

#include <absl/time/time.h>

#include <cstdint>
#include <optional>
#include <string>

#include "client/io.h"

namespace plumblane::client {

class Progress {
 public:
  // `what` is counted: "event".
  Progress(const Io& io, std::string what);

  // Says how many there are so far, how many a second and, with the share done where it is known,
  // how long the rest will take at this rate; a few times a second.
  void Show(int64_t count, std::optional<double> share = std::nullopt);
  // Takes the line away, so that something else can be said.
  void Clear();

 private:
  const Io& io_;
  const std::string what_;
  const absl::Time start_;
  absl::Time last_;
  bool is_shown_ = false;
};

// The line after so many seconds: "12,400 events, 4,100 a second, 37 %, about 12 s left". Of what
// takes no two seconds yet, or has no share, no time is told. Pure.
std::string ProgressText(int64_t count, const std::string& what, std::optional<double> share,
                         double seconds);

}  // namespace plumblane::client
