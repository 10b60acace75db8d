// Plain tables: columns side by side, two blanks between them, no lines, no colours.
//
// Widths are those of a terminal: a wide character takes two columns, a combining mark none. When a
// table is wider than it may be, its first column is cut, with an ellipsis where a cell loses
// something: at its end or, in a cell such as "lotus-works/express", before the slash. Nothing else
// is ever cut. A header may have several lines.
//
// At kPlainWidth it is one for programs: tabs between columns, one line of headers, no blanks for
// the eye, nothing cut, no separators between thousands in columns of numbers.
//
// Not thread-safe; one object is one table.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace plumblane::client {

// Columns that `text` takes on a terminal. Bytes that are no UTF-8 take one each.
int DisplayWidth(std::string_view text);

// That of its widest line.
int WidestLine(std::string_view text);

// `text` if it fits into `width` columns, else its beginning and "…". REQUIRES: width >= 1.
std::string Fit(std::string_view text, int width);

inline constexpr int kPlainWidth = 1'000'000;

class Table {
 public:
  enum class Align { kLeft, kRight };  // right: numbers
  struct Column {
    std::string header;  // lines separated by '\n'
    Align align = Align::kLeft;
  };

  explicit Table(std::vector<Column> columns) : columns_(std::move(columns)) {}

  // REQUIRES: as many cells as columns.
  void Add(std::vector<std::string> cells);

  // Every line ends in '\n' and has no blanks at its end; `indent` blanks stand before it.
  std::string Render(int width, int indent = 0) const;

 private:
  std::string RenderPlain() const;
  std::vector<int> Widths(int room) const;
  void AppendLine(const std::vector<std::string>& cells, const std::vector<int>& widths, int indent,
                  std::string& out) const;

  std::vector<Column> columns_;
  std::vector<std::vector<std::string>> rows_;
};

}  // namespace plumblane::client
