// A file of events, or of rows of another kind, NDJSON or CSV, as a sequence of rows.
//
// The form is told by the first character that is no blank: `{` is NDJSON, or one object on several
// lines when the first line ends within it, at one of `{ [ , :`; `[` is a list of objects; anything
// else is CSV, whose first line names the columns. Opening reads just that far, so that everything
// wrong with a file as a whole is known before anything is sent:
//  - kFailed: it is missing, a directory, or unreadable;
//  - kUsage: a column that is unknown, named twice or missing; another form (UTF-16, semicolons).
// A cell of CSV that was made safe for spreadsheets (tables/csv.h) is read as it was before.
//
// Not thread-safe.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "client/csv_reader.h"
#include "client/exit_codes.h"
#include "client/json_splitter.h"
#include "client/line_reader.h"
#include "client/row.h"

namespace plumblane::client {

// Why a file is not read at all.
struct Refusal {
  ExitCode exit_code = kFailed;
  std::string message;  // names the file
};

class EventFile {
 public:
  enum class Format { kByContent, kNdjson, kCsv };
  using Opened = std::variant<std::unique_ptr<EventFile>, Refusal>;
  // What is wrong with the names of the columns of a CSV file, "" = nothing. They are there, and
  // each once.
  using ColumnCheck = std::function<std::string(const std::vector<std::string>& columns)>;

  // `-` reads `in_fd`, which stays open.
  static Opened Open(const std::string& path, int in_fd, Format format,
                     const ColumnCheck& check = CheckEventColumns);

  // A part of a file, with its first line if that names columns; `fd` is read from its beginning
  // and closed in the end. Its lines are numbered from `lines_before` + 1 on.
  static Opened OpenPart(const std::string& name, int fd, int64_t lines_before, Format format);

  // The next event or the next line that is none; none at the end. Waits for input.
  std::optional<RowOrRejection> Next();

  // False when Next() might have to wait longer than this.
  bool ReadyWithin(int millis) const;

  // As given, "stdin" for "-".
  const std::string& name() const { return name_; }
  bool is_stdin() const { return is_stdin_; }
  // As LineReader's.
  std::optional<double> share_read() const { return lines_.share_read(); }
  // Holds not one line that is not blank.
  bool is_empty() const { return is_empty_; }
  // What went wrong while reading, "" = nothing.
  const std::string& error() const { return lines_.error(); }

 private:
  EventFile(std::string name, int fd, bool is_stdin);
  static std::string CheckEventColumns(const std::vector<std::string>& columns);
  std::optional<RowOrRejection> NextHere();
  std::optional<Refusal> ReadBeginning(Format format, const ColumnCheck& check);
  std::optional<Refusal> ReadHeader(const Line& line, const ColumnCheck& check);
  RowOrRejection ToRow(CsvRecord record) const;

  const std::string name_;
  const bool is_stdin_;
  bool is_empty_ = false;
  LineReader lines_;
  CsvReader csv_;
  std::vector<std::string> columns_;      // empty for NDJSON
  std::optional<Line> first_;             // NDJSON: the line that told the form
  std::unique_ptr<JsonSplitter> values_;  // set: JSON values that go over lines
  int64_t lines_before_ = 0;
};

}  // namespace plumblane::client
