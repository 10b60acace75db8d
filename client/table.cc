#include "client/table.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_replace.h>
#include <locale.h>
#include <wchar.h>

#include <algorithm>
#include <cassert>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kGap = 2;
constexpr int kNarrowest = 8;  // what is left of the first column at least

// wcwidth() knows only the characters of the locale in force.
class Utf8Locale {
 public:
  Utf8Locale() : locale_(newlocale(LC_CTYPE_MASK, "C.UTF-8", nullptr)) {
    if (locale_ != nullptr) before_ = uselocale(locale_);
  }
  ~Utf8Locale() {
    if (locale_ == nullptr) return;
    uselocale(before_);
    freelocale(locale_);
  }
  Utf8Locale(const Utf8Locale&) = delete;
  Utf8Locale& operator=(const Utf8Locale&) = delete;

 private:
  locale_t locale_;
  locale_t before_ = nullptr;
};

struct Character {
  size_t bytes;
  int width;
};

// REQUIRES: a Utf8Locale is in force.
Character CharacterAt(std::string_view text, size_t i) {
  wchar_t wide = 0;
  mbstate_t state{};
  const size_t bytes = mbrtowc(&wide, text.data() + i, text.size() - i, &state);
  if (bytes == 0 || bytes > text.size() - i) return {1, 1};
  return {bytes, std::max(0, wcwidth(wide))};
}

// Cuts a name but keeps what follows its last slash, if there is room for both.
std::string FitName(const std::string& name, int width) {
  const size_t slash = name.rfind('/');
  if (slash == std::string::npos || DisplayWidth(name) <= width) return Fit(name, width);
  const std::string tail = name.substr(slash);
  const int room = width - DisplayWidth(tail);
  return room < kNarrowest / 2 ? Fit(name, width) : Fit(name.substr(0, slash), room) + tail;
}

// Without the commas of "8,412".
std::string WithoutThousands(const std::string& text) {
  const auto is_digit = [&](size_t i) {
    return i < text.size() && absl::ascii_isdigit(static_cast<unsigned char>(text[i]));
  };
  std::string plain;
  for (size_t i = 0; i < text.size(); ++i) {
    const bool is_group = text[i] == ',' && i > 0 && is_digit(i - 1) && is_digit(i + 1) &&
                          is_digit(i + 2) && is_digit(i + 3) && !is_digit(i + 4);
    if (!is_group) plain += text[i];
  }
  return plain;
}

std::vector<std::string> Split(const std::string& text) {
  std::vector<std::string> lines(1);
  for (const char c : text) {
    if (c == '\n') {
      lines.emplace_back();
    } else {
      lines.back() += c;
    }
  }
  return lines;
}

}  // namespace

int DisplayWidth(std::string_view text) {
  const Utf8Locale locale;
  int width = 0;
  for (size_t i = 0; i < text.size();) {
    const Character character = CharacterAt(text, i);
    width += character.width;
    i += character.bytes;
  }
  return width;
}

int WidestLine(std::string_view text) {
  int widest = 0;
  for (const std::string& line : Split(std::string(text))) {
    widest = std::max(widest, DisplayWidth(line));
  }
  return widest;
}

std::string Fit(std::string_view text, int width) {
  if (DisplayWidth(text) <= width) return std::string(text);
  const Utf8Locale locale;
  int used = 0;
  size_t i = 0;
  while (i < text.size()) {
    const Character character = CharacterAt(text, i);
    if (used + character.width > width - 1) break;
    used += character.width;
    i += character.bytes;
  }
  return std::string(text.substr(0, i)) + "…";
}

void Table::Add(std::vector<std::string> cells) {
  assert(cells.size() == columns_.size());
  rows_.push_back(std::move(cells));
}

std::vector<int> Table::Widths(int room) const {
  std::vector<int> widths;
  int total = -kGap;
  for (size_t c = 0; c < columns_.size(); ++c) {
    int width = 0;
    for (const std::string& line : Split(columns_[c].header)) {
      width = std::max(width, DisplayWidth(line));
    }
    for (const auto& row : rows_) width = std::max(width, DisplayWidth(row[c]));
    widths.push_back(width);
    total += width + kGap;
  }
  if (total > room) widths[0] = std::max(std::min(kNarrowest, widths[0]), widths[0] - total + room);
  return widths;
}

void Table::AppendLine(const std::vector<std::string>& cells, const std::vector<int>& widths,
                       int indent, std::string& out) const {
  std::string line(static_cast<size_t>(indent), ' ');
  for (size_t c = 0; c < cells.size(); ++c) {
    const std::string cell = c == 0 ? FitName(cells[c], std::max(1, widths[c])) : cells[c];
    const auto padding = static_cast<size_t>(std::max(0, widths[c] - DisplayWidth(cell)));
    if (c > 0) line.append(kGap, ' ');
    if (columns_[c].align == Align::kRight) line.append(padding, ' ');
    line += cell;
    if (columns_[c].align == Align::kLeft) line.append(padding, ' ');
  }
  line.erase(line.find_last_not_of(' ') + 1);
  out += line + "\n";
}

std::string Table::RenderPlain() const {
  std::string out;
  for (const Column& column : columns_) {
    absl::StrAppend(&out, out.empty() ? "" : "\t",
                    absl::StrReplaceAll(absl::StripAsciiWhitespace(column.header), {{"\n", " "}}));
  }
  out += "\n";
  for (const auto& row : rows_) {
    for (size_t c = 0; c < row.size(); ++c) {
      const bool is_number = columns_[c].align == Align::kRight;
      absl::StrAppend(&out, c == 0 ? "" : "\t", is_number ? WithoutThousands(row[c]) : row[c]);
    }
    out += "\n";
  }
  return out;
}

std::string Table::Render(int width, int indent) const {
  if (width >= kPlainWidth) return RenderPlain();
  const std::vector<int> widths = Widths(width - indent);
  std::vector<std::vector<std::string>> headers;
  size_t height = 0;
  for (const Column& column : columns_) {
    headers.push_back(Split(column.header));
    height = std::max(height, headers.back().size());
  }
  std::string out;
  for (size_t line = 0; line < height; ++line) {
    std::vector<std::string> cells;
    for (const auto& header : headers) {
      // Headers of fewer lines stand at the bottom.
      const size_t blank = height - header.size();
      cells.push_back(line < blank ? "" : header[line - blank]);
    }
    AppendLine(cells, widths, indent, out);
  }
  for (const auto& row : rows_) AppendLine(row, widths, indent, out);
  return out;
}

}  // namespace plumblane::client
