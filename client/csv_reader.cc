#include "client/csv_reader.h"

#include <absl/strings/str_cat.h>

#include <iterator>

namespace plumblane::client {
namespace {

// Splits one record, fed line by line.
class Splitter {
 public:
  explicit Splitter(char delimiter) : delimiter_(delimiter) {}
  void Feed(const std::string& text) {
    if (state_ == State::kQuoted) cells_.back() += '\n';
    for (const char c : text) Step(c);
  }
  bool open() const { return state_ == State::kQuoted; }
  // The number of a field in which text follows the closing quote; 0 = there is none.
  size_t bad_field() const { return bad_field_; }
  std::vector<std::string>& cells() { return cells_; }

 private:
  enum class State { kStart, kPlain, kQuoted, kQuoteInQuoted };

  void Step(char c) {
    std::string& cell = cells_.back();
    if (state_ == State::kQuoted) {
      if (c == '"') {
        state_ = State::kQuoteInQuoted;
      } else {
        cell += c;
      }
    } else if (c == delimiter_) {
      cells_.emplace_back();
      state_ = State::kStart;
    } else if (c == '"' && state_ == State::kStart) {
      state_ = State::kQuoted;
    } else if (c == '"' && state_ == State::kQuoteInQuoted) {
      cell += c;
      state_ = State::kQuoted;
    } else {
      if (state_ == State::kQuoteInQuoted && bad_field_ == 0) bad_field_ = cells_.size();
      cell += c;
      state_ = State::kPlain;
    }
  }

  const char delimiter_;
  std::vector<std::string> cells_ = std::vector<std::string>(1);
  State state_ = State::kStart;
  size_t bad_field_ = 0;
};

std::string AfterQuote(size_t field, char delimiter) {
  const std::string separator = delimiter == ','    ? "a comma"
                                : delimiter == '\t' ? "a tab"
                                                    : std::string(1, delimiter);
  return absl::StrCat("column ", field, ": ", separator,
                      " is expected after a closing quote; write a quote "
                      "inside a quoted text twice");
}

constexpr char kNeverClosed[] = "a quote is opened on this line and never closed";

}  // namespace

CsvRecord SplitCsvLine(const Line& line, char delimiter) {
  Splitter splitter(delimiter);
  splitter.Feed(line.text);
  CsvRecord record{line.number, line.text, std::move(splitter.cells()), {}, line.cut};
  if (splitter.open()) record.complaint = Complaint{"NOT_CSV", "", kNeverClosed};
  if (splitter.bad_field() > 0) {
    record.complaint = Complaint{"NOT_CSV", "", AfterQuote(splitter.bad_field(), delimiter)};
  }
  return record;
}

std::optional<Line> CsvReader::NextLine() {
  if (returned_.empty()) return lines_->Next();
  Line line = std::move(returned_.front());
  returned_.pop_front();
  return line;
}

CsvRecord CsvReader::GiveUp(Line first, std::deque<Line> rest, std::string message) {
  returned_.insert(returned_.begin(), std::make_move_iterator(rest.begin()),
                   std::make_move_iterator(rest.end()));
  CsvRecord record{first.number, std::move(first.text), {}, {}, first.cut};
  record.complaint = Complaint{first.cut ? "CUT_LINE" : "NOT_CSV", "", std::move(message)};
  return record;
}

std::optional<CsvRecord> CsvReader::Next() {
  std::optional<Line> first = NextLine();
  while (first && !first->too_long && first->text.find_first_not_of(" \t\r") == std::string::npos) {
    first = NextLine();
  }
  if (!first) return std::nullopt;
  if (first->too_long) {
    CsvRecord record{first->number, std::move(first->text), {}, {}, first->cut};
    record.complaint = Complaint{"LINE_TOO_LONG", "", "the line is longer than 1 MiB"};
    return record;
  }
  Splitter splitter(delimiter_);
  splitter.Feed(first->text);
  std::deque<Line> rest;
  size_t bytes = first->text.size();
  while (splitter.open() && splitter.bad_field() == 0) {
    std::optional<Line> next = NextLine();
    const bool is_of_use = next && !next->too_long && bytes + next->text.size() < kMaxLineBytes;
    if (next) rest.push_back(*std::move(next));
    if (!is_of_use) {
      return GiveUp(*std::move(first), std::move(rest), kNeverClosed);
    }
    bytes += rest.back().text.size() + 1;
    splitter.Feed(rest.back().text);
  }
  if (splitter.bad_field() > 0) {
    return GiveUp(*std::move(first), std::move(rest), AfterQuote(splitter.bad_field(), delimiter_));
  }
  CsvRecord record{first->number,
                   std::move(first->text),
                   std::move(splitter.cells()),
                   {},
                   rest.empty() ? first->cut : rest.back().cut};
  for (const Line& line : rest) absl::StrAppend(&record.text, "\n", line.text);
  return record;
}

}  // namespace plumblane::client
