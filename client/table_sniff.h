// How a table is written, told by its beginning: encoding, line ends, separator, titles above the
// names of the columns, whether there are names at all.
//
//  - JSON: text that begins with { or [.
//  - Encoding: by a byte order mark; UTF-16 without one by its zeros; UTF-8 when all of it is that;
//    else Latin-1, which is a guess, since no such encoding can be told from another.
//  - Line ends: CR alone only when there is no LF.
//  - Separator: of comma, semicolon, tab and bar the one that cuts most rows into the same number,
//    above one, of columns; of equal ones that with more columns.
//  - Titles: rows at the beginning that have fewer columns than most.
//  - Names: there, unless a cell of the first row is a number or a date.
//
// The first MiB is looked at.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "client/event_file.h"
#include "client/wide_file.h"

namespace plumblane::client {

struct SniffedTable {
  TableForm form;
  bool is_encoding_sure = true;
  bool is_delimiter_sure = true;  // false: no row has more than one column
  bool has_crlf = false;
};

// The form of the text in `bytes`, the beginning of a file; `is_whole`: all of it.
SniffedTable Sniff(const std::string& bytes, bool is_whole);

// That of a file. Refused: what cannot be read, is empty, or is no text table.
std::variant<SniffedTable, Refusal> SniffFile(const std::string& path);

}  // namespace plumblane::client
