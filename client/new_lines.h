// What came to a file since it was last looked at: whole lines only.
//
//  - A line that is not yet ended waits, and with it a quoted field of CSV that is still open, as
//    long as the caller says.
//  - A file that is another one by now (inode, or shorter than what was sent, or another beginning)
//    is read from its beginning.
//  - A JSON list, or one object on several lines, is taken whole, once its size has not changed
//    from one look to the next; when it changes later it is taken whole again. So is a table that
//    has a map.
//
// Reads at most kPortionBytes at a time. Not thread-safe.
#pragma once

#include <sys/stat.h>

#include <optional>
#include <string>

#include "client/follow_state.h"

namespace plumblane::client {

inline constexpr size_t kPortionBytes = 8 << 20;

struct Portion {
  int fd = -1;               // to be read from its beginning, and closed by who takes it
  int64_t lines_before = 0;  // for EventFile::OpenPart
  FilePlace after;           // once it was sent
};

struct Looked {
  std::optional<Portion> portion;
  bool is_held = false;  // there are whole lines, but a quoted field is open
  int64_t size = 0;
};

// How a file is to be taken.
struct LookHow {
  bool whole = false;   // as a table that has a map: never by its lines
  bool patient = true;  // false takes what is held
  bool at_end = false;  // takes what is there, an unended last line as well: nothing more comes
};

// `size_before` is the size at the last look, -1 at the first. An error of the system leaves it
// without portion, `error` says which; a file that is not there has none.
Looked LookForLines(const std::string& path, const FilePlace& place, int64_t size_before,
                    const LookHow& how, std::string* error);

// It is the file that `place` was noted for, whatever it is called.
bool IsAt(const struct stat& status, const FilePlace& place);

}  // namespace plumblane::client
