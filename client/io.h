// Where a command reads and writes. Passed down, so that tests can look.
#pragma once

#include <ostream>

namespace plumblane::client {

struct Io {
  std::ostream& out;             // what was asked for
  std::ostream& err;             // what a person should know besides
  int in_fd = 0;                 // what `-` reads
  bool err_is_terminal = false;  // progress is shown only then
  int width = 80;                // columns that a table may take
};

}  // namespace plumblane::client
