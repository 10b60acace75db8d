#include "client/new_lines.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

#include "base/hash.h"
#include "client/json_splitter.h"

namespace plumblane::client {
namespace {

constexpr int64_t kHeadBytes = 1024;
constexpr size_t kMostHeldBytes = 1 << 20;  // as CsvReader's

class File {
 public:
  explicit File(int fd) : fd_(fd) {}
  ~File() {
    if (fd_ >= 0) close(fd_);
  }
  File(const File&) = delete;
  File& operator=(const File&) = delete;

  int fd() const { return fd_; }
  int Release() { return std::exchange(fd_, -1); }

  std::string Read(int64_t from, size_t most) const {
    std::string text(most, '\0');
    size_t count = 0;
    while (count < most) {
      const ssize_t got =
          pread(fd_, text.data() + count, most - count, from + static_cast<int64_t>(count));
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) break;
      count += static_cast<size_t>(got);
    }
    text.resize(count);
    return text;
  }

 private:
  int fd_;
};

std::string HashOf(const std::string& text) {
  StableHash hash;
  hash.Text(text);
  return absl::StrCat(absl::Hex(hash.value()));
}

void NoteHead(const File& file, FilePlace& place) {
  place.head_bytes = std::min(place.offset, kHeadBytes);
  place.head = HashOf(file.Read(0, static_cast<size_t>(place.head_bytes)));
}

// The end of what may be sent of `text`: behind the last line end outside quotes.
size_t EndOfRecords(const std::string& text) {
  size_t end = 0;
  bool is_quoted = false;
  for (size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '"') is_quoted = !is_quoted;
    if (text[i] == '\n' && !is_quoted) end = i + 1;
  }
  return end;
}

// An unnamed file with the text; -1 and errno when there is no room.
int InMemory(const std::string& text) {
  File file(memfd_create("lines", MFD_CLOEXEC));
  for (size_t at = 0; at < text.size();) {
    const ssize_t count = write(file.fd(), text.data() + at, text.size() - at);
    if (count < 0) return -1;
    at += static_cast<size_t>(count);
  }
  return lseek(file.fd(), 0, SEEK_SET) == 0 ? file.Release() : -1;
}

enum class Form { kLines, kColumns, kWhole };

Form FormOf(const std::string& beginning) {
  const size_t first = beginning.find_first_not_of(" \t\r\n");
  if (first == std::string::npos) return Form::kLines;
  if (beginning[first] == '[') return Form::kWhole;
  if (beginning[first] != '{') return Form::kColumns;
  const size_t end = beginning.find('\n', first);
  if (end == std::string::npos) return Form::kLines;
  return JsonSplitter::GoesOn(beginning.substr(first, end - first)) ? Form::kWhole : Form::kLines;
}

}  // namespace

bool IsAt(const struct stat& status, const FilePlace& place) {
  return status.st_dev == place.device && status.st_ino == place.inode;
}

Looked LookForLines(const std::string& path, const FilePlace& place, int64_t size_before,
                    const LookHow& how, std::string* error) {
  Looked looked;
  File file(open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
  struct stat status {};
  if (file.fd() < 0 || fstat(file.fd(), &status) != 0) {
    if (errno != ENOENT) *error = strerror(errno);
    return looked;
  }
  if (!S_ISREG(status.st_mode)) {
    *error = "is no ordinary file";
    return looked;
  }
  looked.size = status.st_size;
  Portion portion;
  portion.after.device = status.st_dev;
  portion.after.inode = status.st_ino;
  const int64_t changed =
      int64_t{status.st_mtim.tv_sec} * 1000 + status.st_mtim.tv_nsec / 1'000'000;
  const bool is_same = IsAt(status, place) && status.st_size >= place.offset &&
                       (!how.whole || place.changed_millis == changed) &&
                       HashOf(file.Read(0, static_cast<size_t>(place.head_bytes))) == place.head;
  if (is_same) portion.after = place;
  FilePlace& at = portion.after;
  if (at.offset == status.st_size) return looked;

  const std::string beginning = file.Read(0, kMostHeldBytes);
  const Form form = how.whole ? Form::kWhole : FormOf(beginning);
  if (form == Form::kWhole) {
    if (size_before != looked.size && !how.at_end) return looked;
    at.offset = looked.size;
    at.lines = 0;
    at.changed_millis = changed;
    NoteHead(file, at);
    portion.fd = file.Release();
    looked.portion = portion;
    return looked;
  }

  std::string text = file.Read(at.offset, kPortionBytes);
  const bool is_all = at.offset + static_cast<int64_t>(text.size()) >= looked.size;
  const size_t line_end = text.rfind('\n') + 1;  // 0 for none
  size_t end = form == Form::kColumns ? EndOfRecords(text) : line_end;
  looked.is_held = end == 0 && line_end > 0;
  if (looked.is_held && (!how.patient || text.size() >= kMostHeldBytes)) end = line_end;
  if ((is_all && how.at_end) || (end == 0 && text.size() == kPortionBytes)) end = text.size();
  if (end == 0) return looked;
  text.resize(end);
  portion.lines_before = at.lines;
  at.lines += std::count(text.begin(), text.end(), '\n');
  if (form == Form::kColumns && at.offset > 0) {
    text.insert(0, beginning, 0, beginning.find('\n') + 1);
    --portion.lines_before;
  }
  at.offset += static_cast<int64_t>(end);
  NoteHead(file, at);
  portion.fd = InMemory(text);
  if (portion.fd < 0) {
    *error = strerror(errno);
  } else {
    looked.portion = portion;
  }
  return looked;
}

}  // namespace plumblane::client
