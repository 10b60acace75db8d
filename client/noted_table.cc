#include "client/noted_table.h"

#include <algorithm>
#include <sstream>

#include "client/show.h"

namespace plumblane::client {
namespace {

constexpr int kIndent = 2;

}  // namespace

void NotedTable::Add(std::vector<std::string> cells, std::string note) {
  table_.Add(std::move(cells));
  notes_.push_back(std::move(note));
}

std::string NotedTable::Render(int width) const {
  const std::string table = table_.Render(width);
  const auto count = static_cast<size_t>(std::count(table.begin(), table.end(), '\n'));
  const size_t header = count - notes_.size();
  std::istringstream lines(table);
  std::string out, line;
  for (size_t i = 0; std::getline(lines, line); ++i) {
    out += line + "\n";
    if (i < header || notes_[i - header].empty()) continue;
    out += std::string(kIndent, ' ') + Wrapped(notes_[i - header], width - kIndent, kIndent);
  }
  return out;
}

}  // namespace plumblane::client
