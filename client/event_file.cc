#include "client/event_file.h"

#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

#include "client/flat_event.h"
#include "client/json_reader.h"
#include "client/text.h"
#include "client/wide_file.h"
#include "tables/csv.h"

namespace plumblane::client {
namespace {

constexpr char kBlanks[] = " \t\r";
constexpr char kNeedsMap[] = "; a table with one order a row needs a map: see plumblane map --help";

Refusal Unusable(const std::string& name, const std::string& why) {
  return {kUsage, absl::StrCat(name, ": ", why)};
}

bool IsUtf16(const std::string& text) {
  return text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF");
}

}  // namespace

EventFile::EventFile(std::string name, int fd, bool is_stdin)
    : name_(std::move(name)), is_stdin_(is_stdin), lines_(fd, !is_stdin), csv_(&lines_) {}

EventFile::Opened EventFile::Open(const std::string& path, int in_fd, Format format,
                                  const ColumnCheck& check) {
  const bool is_stdin = path == "-";
  const int fd = is_stdin ? in_fd : open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return Refusal{kFailed, absl::StrCat(path, ": ", strerror(errno))};
  // Not make_unique: the constructor is private.
  std::unique_ptr<EventFile> file(new EventFile(is_stdin ? "stdin" : path, fd, is_stdin));
  struct stat status {};
  if (fstat(fd, &status) == 0 && S_ISDIR(status.st_mode)) {
    return Refusal{kFailed, absl::StrCat(path, ": is a directory; name the files in it")};
  }
  if (auto refusal = file->ReadBeginning(format, check)) return *std::move(refusal);
  return file;
}

EventFile::Opened EventFile::OpenPart(const std::string& name, int fd, int64_t lines_before,
                                      Format format) {
  std::unique_ptr<EventFile> file(new EventFile(name, fd, /*is_stdin=*/false));
  file->lines_before_ = lines_before;
  if (auto refusal = file->ReadBeginning(format, CheckEventColumns)) return *std::move(refusal);
  return file;
}

std::optional<Refusal> EventFile::ReadBeginning(Format format, const ColumnCheck& check) {
  std::optional<Line> line = lines_.Next();
  while (line && line->text.find_first_not_of(kBlanks) == std::string::npos) line = lines_.Next();
  if (!error().empty()) return Refusal{kFailed, absl::StrCat(name_, ": ", error())};
  is_empty_ = !line;
  if (!line) return std::nullopt;
  const char first = line->text[line->text.find_first_not_of(kBlanks)];
  if (IsUtf16(line->text)) return Unusable(name_, "is UTF-16 text; save it as UTF-8");
  if (const std::string what = NoTextTable(line->text); !what.empty()) {
    return Unusable(name_, what);
  }
  if (format == Format::kCsv || (format == Format::kByContent && first != '{' && first != '[')) {
    return ReadHeader(*line, check);
  }
  if (first == '[' || JsonSplitter::GoesOn(line->text)) {
    values_ = std::make_unique<JsonSplitter>(&lines_, *std::move(line));
    return std::nullopt;
  }
  first_ = std::move(line);
  return std::nullopt;
}

std::optional<Refusal> EventFile::ReadHeader(const Line& line, const ColumnCheck& check) {
  const std::string where = absl::StrCat("line ", line.number, ": ");
  if (line.text.find('\r') != std::string::npos) {
    return Unusable(name_, where + "lines end in CR alone; expected LF or CRLF");
  }
  if (line.too_long || !IsUtf8(line.text)) {
    return Unusable(name_, where + "expected the names of the columns, as UTF-8 text");
  }
  CsvRecord header = SplitCsvLine(line);
  if (header.complaint) return Unusable(name_, where + header.complaint->message);
  columns_ = std::move(header.cells);
  const bool is_single = columns_.size() == 1;
  for (const char other : {';', '\t', '|'}) {
    if (!is_single || line.text.find(other) == std::string::npos) continue;
    const std::string shown =
        other == '\t' ? "tabs" : absl::StrCat("\"", std::string(1, other), "\"");
    return Unusable(name_,
                    absl::StrCat(where, "columns are separated by ", shown, "; expected commas",
                                 check(columns_).ends_with(kNeedsMap) ? kNeedsMap : ""));
  }
  for (size_t i = 0; i < columns_.size(); ++i) {
    const auto here = columns_.begin() + static_cast<long>(i);
    const std::string column = absl::StrCat("column ", i + 1, " of the first line: ");
    if (here->empty()) return Unusable(name_, column + "has no name");
    if (std::find(columns_.begin(), here, *here) != here) {
      return Unusable(name_, absl::StrCat(column, Quoted(*here), " stands there twice"));
    }
  }
  const std::string mistake = check(columns_);
  if (!mistake.empty()) return Unusable(name_, mistake);
  return std::nullopt;
}

std::string EventFile::CheckEventColumns(const std::vector<std::string>& columns) {
  const auto has = [&](std::string_view name) {
    return std::find(columns.begin(), columns.end(), name) != columns.end();
  };
  const bool is_of_events = std::any_of(columns.begin(), columns.end(), [](const std::string& one) {
    return one.find("event_id") != std::string::npos;
  });
  for (size_t i = 0; i < columns.size(); ++i) {
    if (const auto bad = CheckFieldName(columns[i])) {
      return absl::StrCat("column ", i + 1, " of the first line: ", bad->message,
                          is_of_events ? "" : kNeedsMap);
    }
  }
  for (const char* const name : {"event_id", "type", "time"}) {
    if (!has(name)) {
      return absl::StrCat("the first line names no column `", name, "`; every event needs it");
    }
  }
  if (has("order_id") || has("tracking")) return "";
  return "the first line names no column `order_id`; every event needs it";
}

RowOrRejection EventFile::ToRow(CsvRecord record) const {
  const auto reject = [&](Complaint why) {
    return Rejection{record.line, std::move(why), std::move(record.text)};
  };
  if (record.complaint) return reject(*std::move(record.complaint));
  size_t bad_byte = 0;
  if (!IsUtf8(record.text, &bad_byte)) {
    return reject(
        {"NOT_UTF8", "", absl::StrCat("byte ", bad_byte, " of the line is no UTF-8 text")});
  }
  const size_t found = record.cells.size(), expected = columns_.size();
  if (found != expected) {
    if (record.cut && found < expected) {
      return reject({"CUT_LINE", "",
                     absl::StrCat("the file ends in the middle of this line, in "
                                  "column ",
                                  found, " of ", expected)});
    }
    return reject({"WRONG_COLUMNS", "",
                   absl::StrCat("expected ", Counted(static_cast<int64_t>(expected), "column"),
                                " as in the first line, found ", found,
                                "; a text with a comma in it must stand in quotes")});
  }
  Row row{record.line, std::move(record.text), {}};
  for (size_t i = 0; i < found; ++i) {
    if (record.cells[i].empty()) continue;
    row.cells.push_back({columns_[i], std::string(PlainText(record.cells[i])), Cell::Kind::kText});
  }
  return row;
}

std::optional<RowOrRejection> EventFile::Next() {
  std::optional<RowOrRejection> next = NextHere();
  if (next) std::visit([this](auto& row) { row.line += lines_before_; }, *next);
  return next;
}

std::optional<RowOrRejection> EventFile::NextHere() {
  if (values_) {
    const std::optional<Line> value = values_->Next();
    if (!value) return std::nullopt;
    return ReadJsonRow(*value);
  }
  if (!columns_.empty()) {
    std::optional<CsvRecord> record = csv_.Next();
    if (!record) return std::nullopt;
    return ToRow(*std::move(record));
  }
  std::optional<Line> line = std::exchange(first_, std::nullopt);
  if (!line) line = lines_.Next();
  while (line && !line->too_long && line->text.find_first_not_of(kBlanks) == std::string::npos) {
    line = lines_.Next();
  }
  if (!line) return std::nullopt;
  return ReadJsonRow(*line);
}

bool EventFile::ReadyWithin(int millis) const {
  return first_ || values_ || csv_.ReadyWithin(millis);
}

}  // namespace plumblane::client
