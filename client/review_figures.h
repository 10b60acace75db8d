// The figures of an account as lines of a table: this period, the one before, a year ago.
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// One line of the figures of an account; cells are "" where there is nothing to say.
struct FigureRow {
  std::string label, now, before, year_ago;
};

// Those that say something in some period, in the order in which they are read.
std::vector<FigureRow> FigureRows(const v1::Account& account, bool to_share);

}  // namespace plumblane::client
