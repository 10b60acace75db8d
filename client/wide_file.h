// A table with one order a row, as shops, suppliers and carriers export it: read row by row in a
// form that is known (table_sniff.h finds it out).
//
// Columns are called by the first row that counts, blanks around a name taken off; a name that
// stands there twice is "Name (2)" the second time, one that is empty, or a column of a table
// without names, is called by its number, "3". Cells that hold nothing but blanks or a word for
// nothing ("-", "n/a", "null", "0000-00-00") are "". A row shorter than the names ends in "".
//
// Or JSON: a list of objects, or one object a line. Their members are its columns, in the order in
// which they first come; a member that is itself an object or a list is none. The file is read
// twice, so it cannot be standard input.
//
// Not thread-safe.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <variant>
#include <vector>

#include "client/csv_reader.h"
#include "client/event_file.h"
#include "client/json_splitter.h"
#include "client/line_reader.h"

namespace plumblane::client {

// How a table is written.
struct TableForm {
  bool is_json = false;            // then of what follows only the encoding counts
  std::string encoding = "utf-8";  // as text_decoder.h takes it
  bool cr_ends_line = false;
  char delimiter = ',';
  bool has_header = true;
  int skip_lines = 0;  // above the names: titles, dates of the export
};

// One row: as many cells as columns.
struct WideRow {
  int64_t line = 0;
  std::string text;
  std::vector<std::string> cells;
};

class WideFile {
 public:
  using Opened = std::variant<std::unique_ptr<WideFile>, Refusal>;

  // `-` reads `in_fd`, which stays open. Refused: what cannot be read (kFailed), what is no text
  // table, and a header that is none (kUsage).
  static Opened Open(const std::string& path, int in_fd, const TableForm& form);

  // The next row, or the next line that is none; none at the end. Waits for input.
  std::optional<std::variant<WideRow, Rejection>> Next();

  bool ReadyWithin(int millis) const { return first_ || values_ || csv_->ReadyWithin(millis); }
  const std::vector<std::string>& columns() const { return columns_; }
  const std::string& name() const { return name_; }
  bool is_stdin() const { return is_stdin_; }
  // As LineReader's.
  std::optional<double> share_read() const { return lines_->share_read(); }
  const std::string& error() const { return lines_->error(); }

 private:
  WideFile() = default;
  std::optional<Refusal> ReadHeader(const TableForm& form);
  std::optional<Refusal> ReadMembers(const std::string& path, const TableForm& form);
  std::optional<std::variant<WideRow, Rejection>> NextObject();

  std::string name_;
  bool is_stdin_ = false;
  std::unique_ptr<LineReader> lines_;
  std::unique_ptr<CsvReader> csv_;
  std::unique_ptr<JsonValues> values_;              // set: JSON
  std::unordered_map<std::string, size_t> places_;  // of its members among the columns
  std::vector<std::string> columns_;
  std::optional<CsvRecord> first_;  // read to count columns where no row names them
};

// What a file is that holds no text table, by its first bytes: "a spreadsheet (.xlsx); save it as
// CSV UTF-8 ...". "" = nothing is known against it.
std::string NoTextTable(const std::string& beginning);

// Names for columns with these headers, each once.
std::vector<std::string> ColumnNames(std::vector<std::string> headers);

// The cell without blanks around it, "" for a word for nothing.
std::string_view Trimmed(std::string_view cell);

}  // namespace plumblane::client
