// Bytes of a text file to UTF-8 with LF at line ends, piece by piece.
//
// Encodings are those of iconv(3); "utf-8" passes bytes on as they are, right or wrong, so that
// whoever reads the lines can say which is no text. "latin-1" is read as Windows-1252, which is
// what programs mean by it: the two differ in 32 control characters that no table holds. A byte
// order mark is dropped. A byte that means nothing in the encoding becomes U+FFFD.
//
// With `cr_ends_line` a CR that no LF follows becomes an LF.
//
// Not thread-safe; one object decodes one file.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>
#include <string_view>

namespace plumblane::client {

class TextDecoder {
 public:
  // Error INVALID_ARGUMENT: the encoding is not known here.
  static absl::StatusOr<std::unique_ptr<TextDecoder>> Make(const std::string& encoding,
                                                           bool cr_ends_line);
  ~TextDecoder();
  TextDecoder(const TextDecoder&) = delete;
  TextDecoder& operator=(const TextDecoder&) = delete;

  // Appends what `bytes` mean to `out`; a character that is not whole yet waits for the next call.
  void Decode(std::string_view bytes, std::string& out);

  // To be called at the end of the file: what was not whole becomes U+FFFD.
  void Finish(std::string& out);

 private:
  TextDecoder(void* converter, bool cr_ends_line)
      : converter_(converter), cr_ends_line_(cr_ends_line) {}
  void Convert(std::string& out);
  void EndLines(size_t from, std::string& out);

  void* const converter_;  // iconv_t; null for UTF-8
  const bool cr_ends_line_;
  std::string rest_;  // not decoded yet
  bool at_start_ = true;
  bool after_cr_ = false;
};

}  // namespace plumblane::client
