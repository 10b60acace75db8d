// text_decoder.h: what comes out is text, and the same in whatever pieces the bytes come.

#include "client/text_decoder.h"

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
  if (cr) FUZZ_CHECK(text.find('\r') == std::string::npos);
  return 0;
}
