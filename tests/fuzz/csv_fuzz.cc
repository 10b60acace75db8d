// csv_reader.h and line_reader.h: every line is in one record or blank, and what a record says
// comes back when it is written in quotes.

#include "client/csv_reader.h"

#include <algorithm>

#include "client/line_reader.h"
#include "fuzz/fuzz.h"

namespace {

using namespace plumblane::client;

int64_t LinesOf(const std::string& text) { return 1 + std::count(text.begin(), text.end(), '\n'); }

std::vector<Line> ReadLines(const std::string& text) {
  const plumblane::fuzz::MemoryFile file(text);
  LineReader reader(file.fd(), /*owned=*/false);
  std::vector<Line> lines;
  while (auto line = reader.Next()) lines.push_back(*std::move(line));
  return lines;
}

void CheckWrittenInQuotes(const CsvRecord& record, char delimiter) {
  std::string text;
  for (const std::string& cell : record.cells) {
    text += text.empty() ? "\"" : std::string{delimiter, '"'};
    for (const char c : cell) text += c == '"' ? "\"\"" : std::string(1, c);
    text += '"';
  }
  const plumblane::fuzz::MemoryFile file(text + "\n");
  LineReader lines(file.fd(), /*owned=*/false);
  CsvReader reader(&lines, delimiter);
  const auto again = reader.Next();
  FUZZ_CHECK(again && !again->complaint);
  FUZZ_CHECK(again->cells == record.cells);
  FUZZ_CHECK(!reader.Next());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  plumblane::fuzz::Input input(data, size);
  const char delimiter = ",;\t|"[input.Choose(4)];
  const std::string text = input.Rest();
  const std::vector<Line> lines = ReadLines(text);
  const plumblane::fuzz::MemoryFile file(text);
  LineReader reader(file.fd(), /*owned=*/false);
  CsvReader records(&reader, delimiter);
  int64_t next = 1;
  const auto skip_blank = [&](int64_t until) {
    for (; next < until; ++next) {
      FUZZ_CHECK(lines[static_cast<size_t>(next - 1)].text.find_first_not_of(" \t\r") ==
                 std::string::npos);
    }
  };
  const auto line_count = static_cast<int64_t>(lines.size());
  while (auto record = records.Next()) {
    FUZZ_CHECK(record->line >= next && record->line <= line_count);
    skip_blank(record->line);
    next += LinesOf(record->text);
    if (record->complaint) {
      FUZZ_CHECK(!record->complaint->message.empty());
      continue;
    }
    FUZZ_CHECK(!record->cells.empty());
    // A CR at the end of a line is part of the line end.
    const bool has_cr =
        std::any_of(record->cells.begin(), record->cells.end(),
                    [](const auto& cell) { return cell.find('\r') != std::string::npos; });
    const bool has_mark = record->cells[0].starts_with("\xEF\xBB\xBF");
    if (!has_cr && !has_mark) CheckWrittenInQuotes(*record, delimiter);
  }
  skip_blank(line_count + 1);
  return 0;
}
