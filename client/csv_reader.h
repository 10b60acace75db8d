// Comma-separated values after RFC 4180, with exact line numbers; the comma may be another
// character.
//
// A record is one line, or several when a quoted field holds line ends (kept as LF). A quote opens
// a field only at its beginning; elsewhere in an unquoted field it is a character like any other.
// Empty lines are skipped.
//
// A quote that is never closed must not swallow the rest of the file: when no closing quote comes
// within 1 MiB, or what follows makes no sense, only the line that opened it is given up, and
// reading goes on with the line after it.
//
// Not thread-safe.
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "client/line_reader.h"
#include "client/row.h"

namespace plumblane::client {

struct CsvRecord {
  int64_t line = 0;  // where it starts
  std::string text;  // as read
  std::vector<std::string> cells;
  std::optional<Complaint> complaint;  // set: the cells are of no use
  bool cut = false;                    // the file ends without a line end
};

// Splits a record that is one line: a header.
CsvRecord SplitCsvLine(const Line& line, char delimiter = ',');

class CsvReader {
 public:
  // `lines` must outlive this object.
  explicit CsvReader(LineReader* lines, char delimiter = ',')
      : lines_(lines), delimiter_(delimiter) {}

  // The next record, none at the end of the file.
  std::optional<CsvRecord> Next();

  // As LineReader's.
  bool ReadyWithin(int millis) const { return !returned_.empty() || lines_->ReadyWithin(millis); }

 private:
  std::optional<Line> NextLine();
  CsvRecord GiveUp(Line first, std::deque<Line> rest, std::string message);

  LineReader* const lines_;
  const char delimiter_;
  std::deque<Line> returned_;  // read ahead for a quote that was not closed
};

}  // namespace plumblane::client
