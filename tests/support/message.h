// A message as a courier would hand it to a sink.
#pragma once

#include <absl/strings/str_cat.h>

#include "delivery/sink.h"

namespace plumblane::test {

inline Message MessageWith(int64_t cursor) {
  return {.cursor = cursor,
          .source = "plumblane",
          .id = absl::StrCat(cursor, "-a1"),
          .type = "plumblane.alert.raised",
          .subject = "lane VN-DE",
          .time = {1'790'000'000'000},
          .headline = "lane VN-DE: raised",
          .text = absl::StrCat("text of ", cursor, "\n"),
          .data = absl::StrCat("{\"cursor\":\"", cursor, "\"}")};
}

}  // namespace plumblane::test
