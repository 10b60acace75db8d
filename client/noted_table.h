// A table whose rows may each have a text below, broken to fit.
//
// Not thread-safe; one object is one table.
#pragma once

#include <string>
#include <vector>

#include "client/table.h"

namespace plumblane::client {

class NotedTable {
 public:
  explicit NotedTable(std::vector<Table::Column> columns) : table_(std::move(columns)) {}

  // `note` "" = none. REQUIRES: as many cells as columns.
  void Add(std::vector<std::string> cells, std::string note);

  // As Table does, notes indented by two blanks.
  std::string Render(int width) const;

 private:
  Table table_;
  std::vector<std::string> notes_;
};

}  // namespace plumblane::client
