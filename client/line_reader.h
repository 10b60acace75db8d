// Lines of a file or pipe, numbered, none of them held in memory beyond 1 MiB.
//
// A line ends at LF or at the end of the file; a CR before the LF is taken off. A UTF-8 byte order
// mark before the first line is dropped. A file in another encoding goes through a decoder first.
// Not thread-safe.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "client/text_decoder.h"

namespace plumblane::client {

inline constexpr size_t kMaxLineBytes = 1 << 20;

struct Line {
  int64_t number = 0;     // from 1
  std::string text;       // without its end; of a line too long only the first 200 bytes
  bool too_long = false;  // more than kMaxLineBytes
  bool cut = false;       // the file ends without a line end
};

class LineReader {
 public:
  // Reads `fd` and closes it in the end only when `owned`. Without a decoder it is UTF-8.
  LineReader(int fd, bool owned, std::unique_ptr<TextDecoder> decoder = nullptr);
  ~LineReader();
  LineReader(const LineReader&) = delete;
  LineReader& operator=(const LineReader&) = delete;

  // The next line; none at the end or after a read error. Waits for input.
  std::optional<Line> Next();

  // False when the next line is not here within `millis`. True at the end of the file, too: Next()
  // will not wait.
  bool ReadyWithin(int millis) const;

  // How much of the file was read, 0 to 1; none for what is no ordinary file: nobody knows how much
  // is still to come. Goes in steps of 64 KiB.
  std::optional<double> share_read() const;

  // What went wrong when reading, "" = nothing.
  const std::string& error() const { return error_; }

 private:
  bool Fill();
  std::optional<Line> Finish(Line line);

  const int fd_;
  const bool owned_;
  const std::unique_ptr<TextDecoder> decoder_;
  std::string buffer_;  // read and not yet given out, from position_ on
  size_t position_ = 0;
  int64_t bytes_read_ = 0;
  int64_t size_ = -1;  // of an ordinary file when it was opened
  bool at_end_ = false;
  int64_t line_number_ = 0;
  std::string error_;
};

}  // namespace plumblane::client
