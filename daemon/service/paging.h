// Pages of long lists.
#pragma once

#include <absl/status/statusor.h>
#include <absl/strings/escaping.h>

#include <string>

#include "storage/bytes.h"

namespace plumblane {

inline constexpr int kDefaultPageSize = 200;
inline constexpr int kMaxPageSize = 1000;

// A page token names the last item of the page before and the question it belongs to.
inline std::string MakeToken(const std::string& question, const std::string& after) {
  ByteWriter writer;
  writer.Text(question);
  writer.Text(after);
  return absl::WebSafeBase64Escape(writer.Take());
}

inline absl::StatusOr<std::string> ReadToken(const std::string& question,
                                             const std::string& token) {
  if (token.empty()) return std::string();
  std::string bytes;
  if (absl::WebSafeBase64Unescape(token, &bytes)) {
    ByteReader reader(bytes);
    const bool same = reader.Text() == question;
    const std::string after(reader.Text());
    if (reader.done() && same) return after;
  }
  return absl::InvalidArgumentError("page_token: expected the token of the page before this one");
}

}  // namespace plumblane
