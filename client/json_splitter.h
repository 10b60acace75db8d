// JSON objects that go over lines, or stand in a list, one at a time.
//
// Reads just far enough for the next one, so a list of any length takes no memory. What stands
// between them and is no object comes as one value up to the end of its line, for the reader of
// values to complain about.
//
// Not thread-safe.
#pragma once

#include <optional>
#include <string>
#include <utility>

#include "client/line_reader.h"

namespace plumblane::client {

class JsonSplitter {
 public:
  // `lines` must outlive this object; `first` was read from it.
  JsonSplitter(LineReader* lines, Line first) : lines_(lines), line_(std::move(first)) {}

  // The line opens an object that is meant to go on below.
  static bool GoesOn(const std::string& line);

  // The next value as a line, numbered by the one it starts on; none at the end.
  std::optional<Line> Next();

 private:
  bool NextLine();

  LineReader* const lines_;
  Line line_;
  size_t position_ = 0;
};

// The values of a file of JSON, whichever way it is written: those of lists and objects over lines
// by a splitter, else each line by itself, so that a broken one takes no other with it.
class JsonValues {
 public:
  // `lines` must outlive this object.
  explicit JsonValues(LineReader* lines) : lines_(lines) {}
  std::optional<Line> Next();

 private:
  std::optional<Line> NextLine();

  LineReader* const lines_;
  bool has_begun_ = false;
  std::optional<JsonSplitter> splitter_;
};

}  // namespace plumblane::client
