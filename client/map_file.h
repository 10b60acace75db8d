// A map: how the rows of a table become events. A TOML file:
//
//   source = "orders"              # required: whose export this is; goes before --source
//   shop = "harbour"               # whose orders; goes before --shop
//
//   [file]                         # how the table is written; what is left out is as shown
//   json = false                   # true: JSON objects in a list or one a line, whose members are
//                                  # the columns; delimiter, header and lines do not count then
//   delimiter = "comma"            # comma, semicolon, tab or bar
//   encoding = "utf-8"             # utf-16le, latin-1, windows-1250: any that iconv(3) knows
//   line_end = "lf"                # lf (also CRLF) or cr
//   skip_lines = 0                 # above the names of the columns
//   header = true                  # false: columns are called "1", "2", ...
//   decimal = "."                  # or ","
//   time_zone = "Europe/Berlin"    # of clock times without an offset; required when there are any
//   repeated_order = "first"       # further rows of the order above: first = only that one counts,
//                                  # parts = they are parts 2, 3, ..., each = they have a `key`
//   key = ["Line"]                 # columns by which rows of one order differ, for `each`
//
//   [order]                        # facts, each under its name in event files; they are told with
//   order_id = "Order No"          # `paid`, else with the row's first event
//   destination = { column = "Country", form = "country" }
//   origin = { value = "VN" }
//
//   [[event]]                      # any number of them
//   type = "paid"
//   time = { column = "Ordered", form = "D-M-Y" }      # date_forms.h
//   reason = { column = "Reason", words = "reasons" }  # facts of this event alone
//
//   [words.reasons]                # a column's words to words of event files, in any case;
//   "Defekt" = "damaged"           # "" = says nothing; "*" stands for all other words
//
//   [[skip]]                       # rows to leave out
//   column = "Status"
//   is = ["Test"]
//
//   [[join]]                       # a second table: its first row with the same key
//   name = "lines"                 # its columns are called "lines.Item"
//   file = "lines.csv"             # beside the map, or --join lines=FILE
//   by = "Order No"                # column here
//   on = "order"                   # column there
//   delimiter = "comma"            # ... and the other keys of [file] up to `header`
//
// A field is the name of a column, or { column, form, words } or { value }. Forms: those of dates
// for times, `country` for ends of a lane; `amount` is understood of amounts.
//
// "?" anywhere means: not settled. A map with one is refused, as is one with a key that is not
// known; every mistake is told with its line.
//
// Pure and thread-safe.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "client/date_forms.h"
#include "client/row.h"
#include "client/wide_file.h"

namespace plumblane::client {

struct FieldRule {
  std::string field;   // of event files
  std::string column;  // "" = a constant:
  std::string value;
  std::optional<DateForm> dates;
  bool is_country = false;
  std::string words;  // a table of words, "" = none
  int64_t line = 0;   // of the map
};

struct EventRule {
  FieldRule type;  // a constant, or a column with words
  FieldRule time;
  std::vector<FieldRule> fields;
};

struct SkipRule {
  std::string column;
  std::vector<std::string> is;
  int64_t line = 0;
};

struct JoinRule {
  std::string name, file, by, on;
  TableForm form;
  int64_t line = 0;
};

enum class RepeatedOrder { kFirst, kParts, kEach };

// A column's words, folded, to ours.
using WordTable = std::map<std::string, std::string>;

struct MapFile {
  std::string source, shop;
  TableForm form;
  char decimal = '.';
  std::string time_zone;  // "" = none
  RepeatedOrder repeated_order = RepeatedOrder::kFirst;
  std::vector<std::string> key;
  std::vector<FieldRule> order;
  std::vector<EventRule> events;
  std::map<std::string, WordTable> words;
  std::vector<SkipRule> skips;
  std::vector<JoinRule> joins;
};

// The map that `text` is, or every mistake in it by its line.
std::variant<MapFile, std::vector<Rejection>> ReadMap(const std::string& text);

// The names of delimiters in maps: "comma" for ','.
std::string_view DelimiterName(char delimiter);

// A text in quotes as TOML has it.
std::string TomlText(std::string_view text);

}  // namespace plumblane::client
