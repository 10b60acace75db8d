#include "client/wide_file.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

#include "client/json_reader.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kNothing[] = {
    "-", "--", "n/a", "N/A", "null", "NULL", "#N/A", "NaN", "0000-00-00", "0000-00-00 00:00:00"};
constexpr std::string_view kHardBlank = "\xC2\xA0";

constexpr size_t kMostMembers = 20'000;

bool IsNested(const Cell& cell) {
  return cell.kind == Cell::Kind::kOther && cell.value != "true" && cell.value != "false";
}

bool IsControl(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return byte < 32 && byte != '\t' && byte != '\n' && byte != '\r' && byte != '\f';
}

// What is wrong with a line that holds bytes that are no text.
std::optional<Complaint> NoText(const std::string& line) {
  size_t bad = 0;
  if (!IsUtf8(line, &bad)) {
    return Complaint{"NOT_UTF8", "",
                     absl::StrCat("byte ", bad,
                                  " of the line is no UTF-8 text; the map's `encoding` may be "
                                  "wrong")};
  }
  const auto odd = std::find_if(line.begin(), line.end(), IsControl);
  if (odd == line.end()) return std::nullopt;
  return Complaint{"NOT_TEXT", "",
                   absl::StrCat("byte ", 1 + (odd - line.begin()), " of the line is no text but 0x",
                                absl::Hex(static_cast<unsigned char>(*odd), absl::kZeroPad2))};
}

// What a file is that begins like one of a program: "" = nothing known.
std::string ProgramsFile(const std::string& beginning) {
  if (beginning.starts_with("PK\x03\x04")) {
    const bool is_sheet = beginning.find("xl/") != std::string::npos ||
                          beginning.find("[Content_Types]") != std::string::npos;
    if (is_sheet) {
      return "is a spreadsheet (.xlsx), not a text table; open it, save the sheet as \"CSV UTF-8\" "
             "and use that file";
    }
    return "is a zip file or a spreadsheet, not a text table; unpack it, or save the sheet as "
           "CSV UTF-8, and use that file";
  }
  if (beginning.starts_with("\xD0\xCF\x11\xE0")) {
    return "is a spreadsheet (.xls), not a text table; open it, save the sheet as CSV UTF-8 and "
           "use that file";
  }
  if (beginning.starts_with("\x1F\x8B")) return "is compressed (gzip); unpack it first";
  if (beginning.starts_with("%PDF")) return "is a PDF, not a text table; ask for the table as CSV";
  return "";
}

}  // namespace

std::string NoTextTable(const std::string& beginning) {
  if (std::string what = ProgramsFile(beginning); !what.empty()) return what;
  const bool is_wide = beginning.starts_with("\xFF\xFE") || beginning.starts_with("\xFE\xFF");
  const auto odd = std::count_if(beginning.begin(), beginning.end(), IsControl);
  if (is_wide || odd == 0) return "";
  // UTF-16 without a mark has a zero in nearly every second byte, and else next to no others.
  const auto zeros = std::count(beginning.begin(), beginning.end(), '\0');
  if (zeros == odd && 5 * zeros > 2 * static_cast<long>(beginning.size())) return "";
  // A few are a mishap of some rows, which are refused one by one.
  if (odd * 100 <= static_cast<long>(beginning.size())) return "";
  return "holds bytes that are no text, so it is no text table";
}

std::string_view Trimmed(std::string_view cell) {
  while (!cell.empty()) {
    if (cell.front() == ' ' || cell.front() == '\t') {
      cell.remove_prefix(1);
    } else if (cell.back() == ' ' || cell.back() == '\t') {
      cell.remove_suffix(1);
    } else if (cell.starts_with(kHardBlank)) {
      cell.remove_prefix(2);
    } else if (cell.ends_with(kHardBlank)) {
      cell.remove_suffix(2);
    } else {
      break;
    }
  }
  if (cell.size() > 19) return cell;
  return std::find(std::begin(kNothing), std::end(kNothing), cell) == std::end(kNothing) ? cell
                                                                                         : "";
}

std::vector<std::string> ColumnNames(std::vector<std::string> headers) {
  for (size_t i = 0; i < headers.size(); ++i) {
    const std::string name(Trimmed(headers[i]));
    headers[i] = name.empty() ? absl::StrCat(i + 1) : name;
    const auto here = headers.begin() + static_cast<long>(i);
    for (int n = 2; std::find(headers.begin(), here, *here) != here; ++n) {
      *here = absl::StrCat(name, " (", n, ")");
    }
  }
  return headers;
}

WideFile::Opened WideFile::Open(const std::string& path, int in_fd, const TableForm& form) {
  const bool is_stdin = path == "-";
  const int fd = is_stdin ? in_fd : open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return Refusal{kFailed, absl::StrCat(path, ": ", strerror(errno))};
  // Not make_unique: the constructor is private.
  std::unique_ptr<WideFile> file(new WideFile);
  file->name_ = is_stdin ? "stdin" : path;
  file->is_stdin_ = is_stdin;
  auto decoder = TextDecoder::Make(form.encoding, form.cr_ends_line);
  const bool is_known = decoder.ok();
  file->lines_ = std::make_unique<LineReader>(fd, /*owned=*/!is_stdin,
                                              is_known ? *std::move(decoder) : nullptr);
  if (form.is_json) {
    file->values_ = std::make_unique<JsonValues>(file->lines_.get());
  } else {
    file->csv_ = std::make_unique<CsvReader>(file->lines_.get(), form.delimiter);
  }
  if (!is_known) {
    return Refusal{kUsage, absl::StrCat(file->name_, ": encoding ", Quoted(form.encoding), ": ",
                                        std::string(decoder.status().message()))};
  }
  struct stat status {};
  if (fstat(fd, &status) == 0 && S_ISDIR(status.st_mode)) {
    return Refusal{kFailed, absl::StrCat(path, ": is a directory; name the files in it")};
  }
  auto refusal = form.is_json ? file->ReadMembers(path, form) : file->ReadHeader(form);
  if (refusal) return *std::move(refusal);
  return file;
}

std::optional<Refusal> WideFile::ReadMembers(const std::string& path, const TableForm& form) {
  if (is_stdin_) return Refusal{kUsage, name_ + ": JSON is read twice; name a file"};
  LineReader lines(open(path.c_str(), O_RDONLY | O_CLOEXEC), /*owned=*/true,
                   *TextDecoder::Make(form.encoding, form.cr_ends_line));
  JsonValues values(&lines);
  bool has_any = false;
  while (const std::optional<Line> value = values.Next()) {
    has_any = true;
    const RowOrRejection read = ReadJsonRow(*value);
    const Row* row = std::get_if<Row>(&read);
    if (row == nullptr) continue;
    for (const Cell& cell : row->cells) {
      if (IsNested(cell) || !places_.emplace(cell.field, columns_.size()).second) continue;
      columns_.push_back(cell.field);
      if (columns_.size() > kMostMembers) {
        return Refusal{kUsage, absl::StrCat(name_, ": line ", row->line, ": more than ",
                                            Thousands(kMostMembers), " different members")};
      }
    }
  }
  if (!lines.error().empty()) return Refusal{kFailed, absl::StrCat(name_, ": ", lines.error())};
  if (!has_any || !columns_.empty()) return std::nullopt;
  return Refusal{kUsage, absl::StrCat(name_,
                                      ": is JSON without a list of objects; a table is a list of "
                                      "objects, or one object a line, with texts and numbers in "
                                      "them")};
}

std::optional<std::variant<WideRow, Rejection>> WideFile::NextObject() {
  const std::optional<Line> value = values_->Next();
  if (!value) return std::nullopt;
  RowOrRejection read = ReadJsonRow(*value);
  if (Rejection* bad = std::get_if<Rejection>(&read)) return std::move(*bad);
  Row& row = std::get<Row>(read);
  WideRow wide{row.line, std::move(row.text), std::vector<std::string>(columns_.size())};
  for (Cell& cell : row.cells) {
    const auto place = places_.find(cell.field);
    if (place == places_.end() || IsNested(cell)) continue;
    wide.cells[place->second] = std::string(Trimmed(cell.value));
  }
  return wide;
}

std::optional<Refusal> WideFile::ReadHeader(const TableForm& form) {
  const auto refuse = [&](const std::string& why) {
    return Refusal{kUsage, absl::StrCat(name_, ": ", why)};
  };
  for (int i = 0; i < form.skip_lines; ++i) {
    if (!lines_->Next()) break;
  }
  std::optional<CsvRecord> first = csv_->Next();
  if (!error().empty()) return Refusal{kFailed, absl::StrCat(name_, ": ", error())};
  if (!first) return std::nullopt;
  const std::string what = ProgramsFile(first->text);
  if (!what.empty()) return refuse(what);
  if (!first->complaint) first->complaint = NoText(first->text);
  if (first->complaint) {
    return refuse(absl::StrCat("line ", first->line, ": ", first->complaint->message));
  }
  std::vector<std::string> headers(first->cells.size());
  if (form.has_header) {
    headers = first->cells;
  } else {
    first_ = std::move(first);
  }
  columns_ = ColumnNames(std::move(headers));
  return std::nullopt;
}

std::optional<std::variant<WideRow, Rejection>> WideFile::Next() {
  if (values_) return NextObject();
  std::optional<CsvRecord> record = std::exchange(first_, std::nullopt);
  if (!record && !columns_.empty()) record = csv_->Next();
  if (!record) return std::nullopt;
  const auto reject = [&](Complaint why) {
    return Rejection{record->line, std::move(why), std::move(record->text)};
  };
  if (record->complaint) return reject(*std::move(record->complaint));
  if (auto no_text = NoText(record->text)) return reject(*std::move(no_text));
  const size_t found = record->cells.size(), expected = columns_.size();
  // Spreadsheets leave out empty cells at the end, and write them where there is no column.
  const bool has_more = std::any_of(
      record->cells.begin() + static_cast<long>(std::min(found, expected)), record->cells.end(),
      [](const std::string& cell) { return !Trimmed(cell).empty(); });
  if (has_more) {
    return reject({"WRONG_COLUMNS", "",
                   absl::StrCat("expected ", Counted(static_cast<int64_t>(expected), "column"),
                                " as in the first line, found ", found,
                                "; a text that holds the separator must stand in quotes")});
  }
  if (found < expected && record->cut) {
    return reject({"CUT_LINE", "",
                   absl::StrCat("the file ends in the middle of this line, in column ", found,
                                " of ", expected)});
  }
  record->cells.resize(expected);
  for (std::string& cell : record->cells) {
    const std::string_view trimmed = Trimmed(cell);
    if (trimmed.size() != cell.size()) cell = std::string(trimmed);
  }
  return WideRow{record->line, std::move(record->text), std::move(record->cells)};
}

}  // namespace plumblane::client
