// What the readers make of a line, and what is said of a line that is of no use.
#pragma once

#include <cstdint>
#include <string>
#include <variant>
#include <vector>

namespace plumblane::client {

// What is wrong with an event or a line: a code for programs, a field ("" = the whole line), and
// what was expected, in words.
struct Complaint {
  std::string code;
  std::string field;
  std::string message;
};

// One field of an event as it was written.
struct Cell {
  enum class Kind { kText, kInteger, kDecimal, kOther };
  std::string field;
  std::string value;        // of a number its digits exactly as written
  Kind kind = Kind::kText;  // of CSV always text; kOther: true, false, a list or an object
};

// One event as it was written, not yet looked at. Empty values are left out: not stated.
struct Row {
  int64_t line = 0;  // the line of the file on which it starts, from 1
  std::string text;  // the line itself
  std::vector<Cell> cells;
};

// A line that is not taken, with its text as far as it was kept.
struct Rejection {
  int64_t line = 0;
  Complaint complaint;
  std::string text;
};

using RowOrRejection = std::variant<Row, Rejection>;

}  // namespace plumblane::client
