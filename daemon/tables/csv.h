// Comma-separated values after RFC 4180, as every CSV of ours is written: lines end with CR LF; a
// cell that holds the delimiter, a quote or a line end stands in quotes; a quote in it is doubled.
//
// A text that a spreadsheet would run as a formula, one that begins with = + - @, a tab or a line
// end, has an apostrophe before it, unless it is a plain number or a lone sign; so has a text that
// begins with such an apostrophe already, so that taking one away (PlainText) gives it back.
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace plumblane {

struct CsvStyle {
  char delimiter = ',';
  bool decimal_comma = false;  // figures: 0,95
};

// A text, or a figure: a plain number, which alone takes the decimal comma. Anything else in a
// figure's place ("", "none") is written as a text.
struct CsvValue {
  std::string text;
  bool is_figure = false;
};

// An optional sign, digits, at most one point with digits behind it.
bool IsPlainNumber(std::string_view text);

// One line with its end. REQUIRES: the delimiter is no quote, CR or LF.
std::string CsvLine(const std::vector<CsvValue>& cells, const CsvStyle& style);
// The same of nothing but texts.
std::string CsvTextLine(const std::vector<std::string>& texts, const CsvStyle& style);

// The text of a cell as it was before it was made safe. What does not begin with an apostrophe and
// one of the signs above stays as it is.
std::string_view PlainText(std::string_view cell);

}  // namespace plumblane
