// text_decoder.h: what comes out is text, the same in whatever pieces the bytes come, and what the
// system's converter makes of them at once where they have no mistake.

#include "client/text_decoder.h"

#include <iconv.h>

#include <optional>

#include "client/text.h"
#include "fuzz/fuzz.h"

namespace {

using plumblane::client::TextDecoder;

constexpr const char* kEncodings[] = {
    "utf-8",    "utf-16le",  "utf-16be", "utf-16", "latin-1",     "windows-1250", "windows-1258",
    "utf-32le", "shift_jis", "gb18030",  "utf-7",  "iso-2022-jp", "macintosh"};

std::string Decoded(const std::string& bytes, const char* encoding, bool cr, size_t piece) {
  auto decoder = TextDecoder::Make(encoding, cr);
  FUZZ_CHECK(decoder.ok());
  std::string text;
  for (size_t at = 0; at < bytes.size(); at += piece) {
    (*decoder)->Decode(std::string_view(bytes).substr(at, piece), text);
  }
  (*decoder)->Finish(text);
  return text;
}

// None where a byte means nothing, or the end is missing.
std::optional<std::string> AtOnce(std::string bytes, const std::string& encoding) {
  const iconv_t converter =
      iconv_open("UTF-8", encoding == "latin-1" ? "WINDOWS-1252" : encoding.c_str());
  std::string text(8 * bytes.size() + 64, '\0');
  char *in = bytes.data(), *out = text.data();
  size_t in_left = bytes.size(), room = text.size();
  const bool is_right = iconv(converter, &in, &in_left, &out, &room) != static_cast<size_t>(-1);
  iconv(converter, nullptr, nullptr, &out, &room);
  iconv_close(converter);
  if (!is_right) return std::nullopt;
  text.resize(text.size() - room);
  if (text.starts_with("\xEF\xBB\xBF")) text.erase(0, 3);
  return text;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  plumblane::fuzz::Input input(data, size);
  const char* const encoding = kEncodings[input.Choose(std::size(kEncodings))];
  const bool cr = input.Choose(2) == 1;
  const size_t piece = 1 + input.Choose(7);
  const std::string bytes = input.Rest();
  const std::string text = Decoded(bytes, encoding, cr, bytes.size() + 1);
  FUZZ_CHECK(text == Decoded(bytes, encoding, cr, piece));
  if (encoding != kEncodings[0]) FUZZ_CHECK(plumblane::client::IsUtf8(text));
  const auto at_once = AtOnce(bytes, encoding);
  if (at_once && !cr) FUZZ_CHECK(text == *at_once);
  if (cr) FUZZ_CHECK(text.find('\r') == std::string::npos);
  return 0;
}
