// Where lines go that were not taken: FILE.rejected, one JSON object a line with the number of the
// line, a code, the field, what was expected, and the line itself, as they become known.
//
// The file appears with the first rejection. When a run has none, a file of that name left by an
// earlier run is removed: see Close(). When it cannot be written, the same lines go to `err`.
//
// Not thread-safe.
#pragma once

#include <fstream>
#include <string>

#include "client/io.h"
#include "client/row.h"

namespace plumblane::client {

class RejectedFile {
 public:
  // For rejections of `name` ("orders.csv", "stdin").
  // With `adds` what an earlier run left stays, and is added to by Close(): of a run that breaks
  // off, and will be done again, nothing is written.
  RejectedFile(const std::string& name, const Io& io, bool adds = false);

  // Writes it down, and says the first few on `err`.
  void Add(const Rejection& rejection);

  // Call once the whole input was gone through. Without rejections it removes what an earlier run
  // left, and says so.
  void Close();

  int64_t count() const { return count_; }
  const std::string& path() const { return path_; }

 private:
  void Open();
  void Write(const std::string& lines);

  const std::string name_;
  const std::string path_;
  const Io& io_;
  const bool adds_;
  std::string held_;  // with `adds_`: lines for Close()
  std::ofstream file_;
  bool is_writable_ = true;
  int64_t count_ = 0;
};

}  // namespace plumblane::client
