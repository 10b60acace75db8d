#include "client/text_decoder.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <errno.h>
#include <iconv.h>

#include <vector>

namespace plumblane::client {
namespace {

constexpr char kUnknown[] = "\xEF\xBF\xBD";
constexpr char kMark[] = "\xEF\xBB\xBF";

// Some encodings (windows-1258) hold a letter back until it is known whether a mark follows it.
void TakeHeldBack(void* converter, std::string& out) {
  char buffer[16];
  char* to = buffer;
  size_t room = sizeof(buffer);
  iconv(converter, nullptr, nullptr, &to, &room);
  out.append(buffer, sizeof(buffer) - room);
}

}  // namespace

absl::StatusOr<std::unique_ptr<TextDecoder>> TextDecoder::Make(const std::string& encoding,
                                                               bool cr_ends_line) {
  std::string name = absl::AsciiStrToUpper(encoding);
  if (name == "LATIN-1") name = "WINDOWS-1252";
  void* converter = nullptr;
  if (name != "UTF-8") {
    converter = iconv_open("UTF-8", name.c_str());
    if (converter == reinterpret_cast<void*>(-1)) {
      return absl::InvalidArgumentError(
          "expected an encoding, such as utf-8, utf-16le, latin-1 or windows-1250");
    }
  }
  // Not make_unique: the constructor is private.
  return std::unique_ptr<TextDecoder>(new TextDecoder(converter, cr_ends_line));
}

TextDecoder::~TextDecoder() {
  if (converter_ != nullptr) iconv_close(converter_);
}

void TextDecoder::Convert(std::string& out) {
  std::vector<char> buffer(2 * rest_.size() + 16);
  char* in = rest_.data();
  size_t in_left = rest_.size();
  while (in_left > 0) {
    char* to = buffer.data();
    size_t room = buffer.size();
    const size_t result = iconv(converter_, &in, &in_left, &to, &room);
    const int error = errno;
    out.append(buffer.data(), buffer.size() - room);
    if (result != static_cast<size_t>(-1) || error == EINVAL) break;
    if (error == E2BIG) continue;
    TakeHeldBack(converter_, out);
    out += kUnknown;
    ++in;
    --in_left;
  }
  rest_.erase(0, rest_.size() - in_left);
}

void TextDecoder::EndLines(size_t from, std::string& out) {
  size_t to = from;
  for (size_t i = from; i < out.size(); ++i) {
    const char c = out[i];
    if (c != '\n' || !after_cr_) out[to++] = c == '\r' ? '\n' : c;
    after_cr_ = c == '\r';
  }
  out.resize(to);
}

void TextDecoder::Decode(std::string_view bytes, std::string& out) {
  size_t from = out.size();
  rest_ += bytes;
  if (converter_ == nullptr) {
    if (at_start_ && rest_.size() < 3) return;
    out += rest_;
    rest_.clear();
  } else {
    Convert(out);
  }
  if (out.size() == from) return;
  if (at_start_ && out.compare(from, 3, kMark) == 0) out.erase(from, 3);
  at_start_ = false;
  if (cr_ends_line_) EndLines(from, out);
}

void TextDecoder::Finish(std::string& out) {
  const size_t from = out.size();
  if (converter_ != nullptr) {
    TakeHeldBack(converter_, out);
    if (!rest_.empty()) out += kUnknown;
  } else {
    out += rest_;
  }
  rest_.clear();
  if (cr_ends_line_) EndLines(from, out);
}

}  // namespace plumblane::client
