#include "client/json_splitter.h"

#include <algorithm>
#include <utility>

namespace plumblane::client {
namespace {

// Follows a text to the end of the object it begins with.
class Depth {
 public:
  // True at the brace that closes the object.
  bool Take(char c) {
    if (in_text_) {
      if (!escaped_ && c == '"') in_text_ = false;
      escaped_ = !escaped_ && c == '\\';
      return false;
    }
    if (c == '"') in_text_ = true;
    if (c == '{' || c == '[') ++depth_;
    if (c == '}' || c == ']') --depth_;
    return depth_ == 0;
  }
  bool is_open() const { return depth_ > 0 && !in_text_; }

 private:
  int depth_ = 0;
  bool in_text_ = false, escaped_ = false;
};

constexpr char kBlanks[] = " \t\r";

}  // namespace

bool JsonSplitter::GoesOn(const std::string& line) {
  const size_t begin = line.find_first_not_of(kBlanks), end = line.find_last_not_of(kBlanks);
  if (begin == std::string::npos || line[begin] != '{') return false;
  Depth depth;
  for (size_t i = begin; i <= end; ++i) {
    if (depth.Take(line[i])) return false;
  }
  return depth.is_open() && std::string("{[,:").find(line[end]) != std::string::npos;
}

bool JsonSplitter::NextLine() {
  std::optional<Line> line = lines_->Next();
  if (!line) return false;
  line_ = *std::move(line);
  position_ = 0;
  return true;
}

std::optional<Line> JsonSplitter::Next() {
  while (true) {
    position_ = line_.text.find_first_not_of(" \t\r,[]", position_);
    if (position_ != std::string::npos) break;
    if (!NextLine()) return std::nullopt;
  }
  Line value{line_.number, "", line_.too_long, false};
  if (line_.text[position_] != '{') {
    value.text = line_.text.substr(std::exchange(position_, line_.text.size()));
    return value;
  }
  Depth depth;
  while (true) {
    for (size_t i = position_; i < line_.text.size(); ++i) {
      if (!depth.Take(line_.text[i])) continue;
      value.text.append(line_.text, position_, i + 1 - position_);
      position_ = i + 1;
      return value;
    }
    value.text.append(line_.text, position_).append(" ");
    value.too_long = value.too_long || line_.too_long || value.text.size() > kMaxLineBytes;
    if (value.too_long) value.text.resize(std::min<size_t>(value.text.size(), 200));
    if (!NextLine()) {
      position_ = line_.text.size();
      value.cut = true;
      return value;
    }
  }
}

std::optional<Line> JsonValues::NextLine() {
  std::optional<Line> line = lines_->Next();
  while (line && !line->too_long && line->text.find_first_not_of(kBlanks) == std::string::npos) {
    line = lines_->Next();
  }
  return line;
}

std::optional<Line> JsonValues::Next() {
  if (splitter_) return splitter_->Next();
  std::optional<Line> line = NextLine();
  if (!line || std::exchange(has_begun_, true)) return line;
  const size_t first = line->text.find_first_not_of(kBlanks);
  const bool is_list = first != std::string::npos && line->text[first] == '[';
  if (!is_list && !JsonSplitter::GoesOn(line->text)) return line;
  splitter_.emplace(lines_, *std::move(line));
  return splitter_->Next();
}

}  // namespace plumblane::client
