#include "client/table_sniff.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <map>

#include "client/date_forms.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr size_t kLookedAt = 1 << 20;
constexpr size_t kMostRows = 1000;
constexpr char kDelimiters[] = {',', ';', '\t', '|'};

// How many letters beyond ASCII there are in right UTF-8.
int64_t Letters(std::string_view text) {
  return std::count_if(text.begin(), text.end(),
                       [](char c) { return static_cast<unsigned char>(c) >= 0xC0; });
}

std::string EncodingOf(const std::string& bytes, bool is_whole, bool& is_sure) {
  is_sure = true;
  if (bytes.starts_with("\xFF\xFE")) return "utf-16le";
  if (bytes.starts_with("\xFE\xFF")) return "utf-16be";
  size_t even = 0, odd = 0;
  for (size_t i = 0; i < bytes.size(); ++i) {
    if (bytes[i] == '\0') ++(i % 2 == 0 ? even : odd);
  }
  if (odd > 4 * even && 5 * odd > bytes.size()) return "utf-16le";
  if (even > 4 * odd && 5 * even > bytes.size()) return "utf-16be";
  // Letters beyond ASCII that are right UTF-8 hardly come about by chance: where most are, the
  // others stand in rows that went wrong.
  std::string_view rest = bytes;
  int64_t right = 0, wrong = 0;
  for (size_t bad = 0; !IsUtf8(rest, &bad); rest.remove_prefix(bad)) {
    right += Letters(rest.substr(0, bad - 1));
    if (is_whole || bad + 3 < rest.size()) ++wrong;  // not cut inside a character
  }
  right += Letters(rest);
  if (wrong <= right) return "utf-8";
  is_sure = false;
  return "latin-1";
}

// The rows of the text, cut at `delimiter`; a quote keeps line ends.
std::vector<std::vector<std::string>> RowsOf(const std::string& text, char delimiter,
                                             std::vector<int>& lines) {
  std::vector<std::vector<std::string>> rows;
  int line = 0;
  for (size_t at = 0; at < text.size() && rows.size() < kMostRows;) {
    std::vector<std::string> cells(1);
    const int first_line = line;
    bool is_quoted = false, is_closed = false;
    for (; at < text.size(); ++at) {
      const char c = text[at];
      line += c == '\n';
      if (c == '"' && (is_quoted || is_closed || cells.back().empty())) {
        is_closed = is_quoted;
        is_quoted = !is_quoted;
        continue;
      }
      is_closed = false;
      if (c == delimiter && !is_quoted) {
        cells.emplace_back();
      } else if (c == '\n' && !is_quoted) {
        break;
      } else if (c != '\r') {
        cells.back() += c;
      }
    }
    ++at;
    if (cells.size() == 1 && Trimmed(cells[0]).empty()) continue;
    rows.push_back(std::move(cells));
    lines.push_back(first_line);
  }
  return rows;
}

// How many columns most rows have, and how many rows that are.
std::pair<size_t, size_t> MostColumns(const std::vector<std::vector<std::string>>& rows) {
  std::map<size_t, size_t> counts;
  for (const auto& row : rows) ++counts[row.size()];
  std::pair<size_t, size_t> best{0, 0};
  for (const auto& [columns, count] : counts) {
    if (count >= best.second) best = {columns, count};
  }
  return best;
}

// A cell that a name of a column would not be.
bool IsDatum(std::string_view cell) {
  cell = Trimmed(cell);
  if (cell.empty()) return false;
  const bool is_number = std::all_of(cell.begin(), cell.end(), [](char c) {
    return absl::ascii_isdigit(static_cast<unsigned char>(c)) || c == '.' || c == ',' || c == '-';
  });
  return is_number || FormsOf(cell) != 0;
}

void SniffRows(const std::string& text, bool is_whole, SniffedTable& table) {
  size_t best_share = 0, best_columns = 1;
  std::vector<std::vector<std::string>> rows;
  std::vector<int> lines;
  for (const char delimiter : kDelimiters) {
    std::vector<int> its_lines;
    auto cut = RowsOf(text, delimiter, its_lines);
    if (!is_whole && cut.size() > 1 && cut.size() < kMostRows) cut.pop_back();
    const auto [columns, count] = MostColumns(cut);
    if (cut.empty() || columns < 2) continue;
    const size_t share = 100 * count / cut.size();
    const bool is_better =
        share / 10 > best_share / 10 || (share / 10 == best_share / 10 && columns > best_columns);
    if (!is_better) continue;
    best_share = share;
    best_columns = columns;
    rows = std::move(cut);
    lines = std::move(its_lines);
    table.form.delimiter = delimiter;
  }
  table.is_delimiter_sure = best_columns > 1;
  if (rows.empty()) rows = RowsOf(text, table.form.delimiter, lines);
  size_t first = 0;
  while (first + 1 < rows.size() && rows[first].size() < best_columns) ++first;
  if (first + 1 == rows.size()) first = 0;
  if (rows.empty()) return;
  table.form.skip_lines = first == 0 ? 0 : lines[first];
  table.form.has_header = std::none_of(rows[first].begin(), rows[first].end(),
                                       [](const std::string& cell) { return IsDatum(cell); });
}

}  // namespace

SniffedTable Sniff(const std::string& bytes, bool is_whole) {
  SniffedTable table;
  table.form.encoding = EncodingOf(bytes, is_whole, table.is_encoding_sure);
  std::string text;
  const auto decoder = TextDecoder::Make(table.form.encoding, /*cr_ends_line=*/false);
  (*decoder)->Decode(bytes, text);
  if (is_whole) (*decoder)->Finish(text);
  const size_t first = text.find_first_not_of(" \t\r\n");
  if (first != std::string::npos && (text[first] == '{' || text[first] == '[')) {
    table.form.is_json = true;
    return table;
  }
  table.has_crlf = text.find("\r\n") != std::string::npos;
  table.form.cr_ends_line =
      text.find('\n') == std::string::npos && text.find('\r') != std::string::npos;
  if (table.form.cr_ends_line) std::replace(text.begin(), text.end(), '\r', '\n');
  SniffRows(text, is_whole, table);
  return table;
}

std::variant<SniffedTable, Refusal> SniffFile(const std::string& path) {
  const auto refuse = [&](ExitCode code, const std::string& why) {
    return Refusal{code, absl::StrCat(path, ": ", why)};
  };
  const int fd = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return refuse(kFailed, strerror(errno));
  struct stat status {};
  const bool is_folder = fstat(fd, &status) == 0 && S_ISDIR(status.st_mode);
  std::string bytes(kLookedAt, '\0');
  size_t filled = 0;
  ssize_t count = 1;
  while (!is_folder && filled < bytes.size() && count > 0) {
    count = read(fd, bytes.data() + filled, bytes.size() - filled);
    if (count < 0 && errno == EINTR)
      count = 1;
    else if (count > 0)
      filled += static_cast<size_t>(count);
  }
  const int error = errno;
  close(fd);
  if (is_folder) return refuse(kFailed, "is a directory; name a file in it");
  if (count < 0) return refuse(kFailed, strerror(error));
  bytes.resize(filled);
  if (const std::string what = NoTextTable(bytes); !what.empty()) return refuse(kUsage, what);
  if (bytes.find_first_not_of(" \t\r\n") == std::string::npos) {
    return refuse(kUsage, "nothing in it");
  }
  return Sniff(bytes, filled < kLookedAt);
}

}  // namespace plumblane::client
