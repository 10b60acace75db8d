#include "client/line_reader.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

namespace plumblane::client {
namespace {

constexpr size_t kChunk = 1 << 16;
constexpr size_t kKeptOfLongLine = 200;
constexpr char kByteOrderMark[] = "\xEF\xBB\xBF";
constexpr char kBlanks[] = " \t\r";

// The end of the last object that another follows in a list of JSON objects, or in the rest of one;
// 0 = it is none.
size_t EndOfObjects(const std::string& text) {
  const size_t first = text.find_first_not_of(kBlanks, text.starts_with(kByteOrderMark) ? 3 : 0);
  if (first == std::string::npos || (text[first] != '[' && text[first] != ',')) return 0;
  for (size_t end = text.size(); end > 0;) {
    const size_t brace = text.rfind('}', end - 1);
    if (brace == std::string::npos) return 0;
    const size_t comma = text.find_first_not_of(kBlanks, brace + 1);
    if (comma != std::string::npos && text[comma] == ',') {
      const size_t next = text.find_first_not_of(kBlanks, comma + 1);
      if (next != std::string::npos && text[next] == '{') return brace + 1;
    }
    end = brace;
  }
  return 0;
}

}  // namespace

LineReader::LineReader(int fd, bool owned, std::unique_ptr<TextDecoder> decoder)
    : fd_(fd), owned_(owned), decoder_(std::move(decoder)) {
  struct stat status {};
  if (fstat(fd, &status) == 0 && S_ISREG(status.st_mode)) size_ = status.st_size;
}

LineReader::~LineReader() {
  if (owned_) close(fd_);
}

bool LineReader::Fill() {
  if (at_end_) return false;
  buffer_.erase(0, position_);
  position_ = 0;
  const size_t kept = buffer_.size();
  buffer_.resize(kept + kChunk);
  ssize_t count;
  do {
    count = read(fd_, buffer_.data() + kept, kChunk);
  } while (count < 0 && errno == EINTR);
  if (count < 0) error_ = strerror(errno);
  buffer_.resize(kept + static_cast<size_t>(count > 0 ? count : 0));
  at_end_ = count <= 0;
  if (count > 0) bytes_read_ += count;
  if (!decoder_) return count > 0;
  const std::string bytes = buffer_.substr(kept);
  buffer_.resize(kept);
  decoder_->Decode(bytes, buffer_);
  if (at_end_) decoder_->Finish(buffer_);
  return count > 0 || buffer_.size() > kept;
}

std::optional<Line> LineReader::Finish(Line line) {
  line.number = ++line_number_;
  if (line.text.ends_with('\r')) line.text.pop_back();
  if (line.number == 1 && line.text.starts_with(kByteOrderMark)) line.text.erase(0, 3);
  if (line.too_long) line.text.resize(kKeptOfLongLine);
  return line;
}

std::optional<Line> LineReader::Next() {
  Line line;
  while (true) {
    const size_t end = buffer_.find('\n', position_);
    const size_t stop = end == std::string::npos ? buffer_.size() : end;
    if (line.text.size() + (stop - position_) > kMaxLineBytes + 1) {  // 1 for a CR
      if (const size_t piece = line.too_long ? 0 : EndOfObjects(line.text); piece > 0) {
        buffer_.replace(0, position_, line.text, piece);
        position_ = 0;
        line.text.resize(piece);
        line.number = line_number_ + 1;  // which goes on
        if (line.number == 1 && line.text.starts_with(kByteOrderMark)) line.text.erase(0, 3);
        return line;
      }
      line.too_long = true;
      if (line.text.size() < kKeptOfLongLine) line.text.append(buffer_, position_, kKeptOfLongLine);
    } else if (!line.too_long) {
      line.text.append(buffer_, position_, stop - position_);
    }
    if (end != std::string::npos) {
      position_ = end + 1;
      return Finish(std::move(line));
    }
    position_ = stop;
    if (Fill()) continue;
    if (!error_.empty() || (line.text.empty() && !line.too_long)) return std::nullopt;
    line.cut = true;
    return Finish(std::move(line));
  }
}

std::optional<double> LineReader::share_read() const {
  if (size_ <= 0) return std::nullopt;
  return std::min(1.0, static_cast<double>(bytes_read_) / static_cast<double>(size_));
}

bool LineReader::ReadyWithin(int millis) const {
  if (at_end_ || buffer_.find('\n', position_) != std::string::npos) return true;
  pollfd waiting{fd_, POLLIN, 0};
  return poll(&waiting, 1, millis) != 0;
}

}  // namespace plumblane::client
