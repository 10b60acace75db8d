#include "tables/csv.h"

#include <absl/strings/ascii.h>

#include <algorithm>

namespace plumblane {
namespace {

// Behind its apostrophes, if any, it begins like a formula.
bool LooksLikeFormula(std::string_view text) {
  const size_t at = text.find_first_not_of('\'');
  return at != std::string_view::npos &&
         std::string_view("=+-@\t\r\n").find(text[at]) != std::string_view::npos;
}

std::string Safe(const std::string& text) {
  const bool is_sign = text == "-" || text == "+";
  return LooksLikeFormula(text) && !is_sign && !IsPlainNumber(text) ? "'" + text : text;
}

std::string InQuotes(const std::string& text, char delimiter) {
  const char special[] = {delimiter, '"', '\r', '\n'};
  if (text.find_first_of(std::string_view(special, sizeof(special))) == std::string::npos) {
    return text;
  }
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  return quoted + "\"";
}

}  // namespace

bool IsPlainNumber(std::string_view text) {
  if (!text.empty() && (text[0] == '-' || text[0] == '+')) text.remove_prefix(1);
  const auto are_digits = [](std::string_view part) {
    return !part.empty() && std::all_of(part.begin(), part.end(), [](char c) {
      return absl::ascii_isdigit(static_cast<unsigned char>(c));
    });
  };
  const size_t point = text.find('.');
  return are_digits(text.substr(0, point)) &&
         (point == std::string_view::npos || are_digits(text.substr(point + 1)));
}

std::string CsvLine(const std::vector<CsvValue>& cells, const CsvStyle& style) {
  std::string line;
  for (const CsvValue& cell : cells) {
    if (&cell != cells.data()) line += style.delimiter;
    std::string text = Safe(cell.text);
    if (style.decimal_comma && cell.is_figure && IsPlainNumber(text)) {
      std::replace(text.begin(), text.end(), '.', ',');
    }
    line += InQuotes(text, style.delimiter);
  }
  return line + "\r\n";
}

std::string CsvTextLine(const std::vector<std::string>& texts, const CsvStyle& style) {
  std::vector<CsvValue> cells;
  for (const std::string& text : texts) cells.push_back({text});
  return CsvLine(cells, style);
}

std::string_view PlainText(std::string_view cell) {
  return !cell.empty() && cell[0] == '\'' && LooksLikeFormula(cell) ? cell.substr(1) : cell;
}

}  // namespace plumblane
