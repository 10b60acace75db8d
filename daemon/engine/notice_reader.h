// Reads notices one after the other, each with the state of its alert once it was taken.
//
// Memory: the state of all alerts at the place it has come to. Belongs to one thread.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>

#include "engine/alerts_told.h"
#include "engine/view.h"

namespace plumblane {

class NoticeReader {
 public:
  struct Read {
    int64_t cursor = 0;
    AlertNotice notice;
    const ToldAlert* after;  // until the next call
  };

  // To just after a notice. REQUIRES: not before cursor(), nor after the last one of `view`.
  absl::Status GoTo(const View& view, int64_t cursor);
  // None when there is no other yet.
  absl::StatusOr<std::optional<Read>> Next(const View& view);

  int64_t cursor() const { return told_.last_cursor; }  // of the last one read; 0 = none

 private:
  AlertsTold told_;
};

}  // namespace plumblane
