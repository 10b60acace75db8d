// A map for a table that was looked at: what could be told from it is filled in, what could not is
// "?" with the question above it, so that `send --map` waits for an answer (map_file.h).
//
// Left open are: dates that could have day and month either way round, columns whose name does not
// say what matters (column_guess.h), by whom a refund was, amounts whose sign could be either, the
// zone of clock times, words that stand for events or reasons and are not ours, countries that are
// unknown, several rows for one order, and the supplier where no column names it. Columns that
// look personal are named and left out.
//
// Pure but for `countries`; not thread-safe.
#pragma once

#include <string>
#include <vector>

#include "client/column_facts.h"
#include "client/countries.h"
#include "client/table_sniff.h"

namespace plumblane::client {

// A table that was read to its end.
struct LookedAt {
  std::string file;  // as given
  SniffedTable table;
  std::vector<std::string> columns;
  std::vector<ColumnFacts> facts;  // of each column
  int64_t rows = 0;
  int64_t bad_rows = 0;  // that could not be cut into columns
  int64_t first_bad_line = 0;
  std::string first_bad;
};

struct MapProposal {
  std::string text;  // TOML
  int questions = 0;
  bool names_order = false;           // a column is its order's number, or a tracking number
  std::vector<std::string> personal;  // columns left out: "Email" (an e-mail address)
};

MapProposal ProposeMap(const LookedAt& table, Countries& countries);

// A name for the source of exports called like this file: its name without folder, ending, digits
// and dates: "orders" of "x/orders_2026-11-03.csv".
std::string SourceNameOf(const std::string& file);

}  // namespace plumblane::client
