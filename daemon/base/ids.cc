#include "base/ids.h"

#include <absl/strings/str_cat.h>

namespace plumblane {
namespace {

// Zero-width characters, marks and overrides of direction, line separators.
bool IsInvisible(uint32_t code) {
  return (code >= 0x200B && code <= 0x200F) || (code >= 0x2028 && code <= 0x202E) ||
         (code >= 0x2060 && code <= 0x206F) || code == 0xFEFF;
}

// Counts the code points of valid UTF-8 without control characters; -1 for anything else. Checked
// here because keys are built from these bytes and protobuf strings must be valid UTF-8.
int CountPrintable(std::string_view text) {
  int count = 0;
  for (size_t i = 0; i < text.size();) {
    const auto lead = static_cast<unsigned char>(text[i]);
    if (lead >= 0x20 && lead < 0x7F) {  // nearly all
      ++i;
      ++count;
      continue;
    }
    const int length = lead < 0x80 ? 1 : lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC2 ? 2 : 0;
    if (length == 0 || lead > 0xF4 || i + static_cast<size_t>(length) > text.size()) return -1;
    uint32_t code = length == 1 ? lead : lead & (0x7Fu >> length);
    for (int k = 1; k < length; ++k) {
      const auto next = static_cast<unsigned char>(text[i + static_cast<size_t>(k)]);
      if ((next & 0xC0) != 0x80) return -1;
      code = (code << 6) | (next & 0x3Fu);
    }
    const bool overlong = (length == 3 && code < 0x800) || (length == 4 && code < 0x10000);
    const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
    const bool control = code < 0x20 || (code >= 0x7F && code < 0xA0) || IsInvisible(code);
    if (overlong || surrogate || control || code > 0x10FFFF) return -1;
    i += static_cast<size_t>(length);
    ++count;
  }
  return count;
}

}  // namespace

absl::Status CheckId(std::string_view text) {
  const int count = CountPrintable(text);
  if (count < 1 || count > 64 || text.find('/') != std::string_view::npos || text.front() == ' ' ||
      text.back() == ' ') {
    return absl::InvalidArgumentError(
        "expected 1 to 64 printable characters, no '/', no blank at either end");
  }
  return absl::OkStatus();
}

absl::Status CheckEventId(std::string_view text) {
  const int count = CountPrintable(text);
  if (count < 1 || count > 128) {
    return absl::InvalidArgumentError("expected 1 to 128 printable characters");
  }
  return absl::OkStatus();
}

absl::Status CheckText(std::string_view text) {
  const int count = CountPrintable(text);
  if (count < 1 || count > 200) {
    return absl::InvalidArgumentError("expected 1 to 200 printable characters");
  }
  return absl::OkStatus();
}

std::string FormatOrder(const OrderKey& key, int part) {
  std::string text = absl::StrCat(key.shop, "/", key.order_id);
  if (part != 1) absl::StrAppend(&text, "#", part);
  return text;
}

}  // namespace plumblane
