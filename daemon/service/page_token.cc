#include "service/page_token.h"

#include <absl/strings/escaping.h>

#include <algorithm>

#include "storage/bytes.h"

namespace plumblane {
namespace {

constexpr int kDefaultPageSize = 200;
constexpr int kMaxPageSize = 1000;

}  // namespace

std::string MakeToken(const std::string& question, const std::string& after) {
  ByteWriter writer;
  writer.Text(question);
  writer.Text(after);
  return absl::WebSafeBase64Escape(writer.Take());
}

absl::StatusOr<std::string> ReadToken(const std::string& question, const std::string& token) {
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

absl::StatusOr<size_t> ReadPageSize(int asked) {
  if (asked < 0) return absl::InvalidArgumentError("page_size: expected 0 to 1,000");
  return static_cast<size_t>(asked == 0 ? kDefaultPageSize : std::min(asked, kMaxPageSize));
}

}  // namespace plumblane
