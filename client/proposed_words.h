// A table that turns a column's words into ours, as far as they can be told: part of a proposed
// map.
//
// Countries need none where every word is a country by name or code; services become what a service
// may be called; reasons, types and sides are taken where they are our words or near ones, and else
// left open, as is what others mean where there are too many words to list.
//
// Pure but for `countries`.
#pragma once

#include <string>

#include "client/column_facts.h"
#include "client/countries.h"

namespace plumblane::client {

struct ProposedWords {
  std::string table;  // lines of TOML, "" = none is needed
  bool is_country = false;
  int questions = 0;
};

// `field`: origin, destination, service, reason, by or type.
ProposedWords ProposeWords(const ColumnFacts& facts, std::string_view field, Countries& countries);

// A name for the table of this column's words.
std::string WordTableName(const std::string& column);

}  // namespace plumblane::client
