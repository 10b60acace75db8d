// What export and watch were asked, and how CSV is written; a part of invocation.h.
#pragma once

#include <google/protobuf/duration.pb.h>

#include <optional>
#include <string>
#include <vector>

#include "plumblane/v1/exports.pb.h"
#include "tables/table.h"

namespace plumblane::client {

// In which form all of it goes where.
struct ExportOptions {
  std::optional<TableForm> form;  // absent = CSV, with --json JSON
  std::string output;             // "" = standard output
};

// Which changes of scores to tell.
struct WatchOptions {
  std::vector<v1::ScoreKind> kinds;                    // none = suppliers
  std::optional<double> change;                        // of shares; absent = the daemon's choice
  std::optional<google::protobuf::Duration> delivery;  // likewise
  std::string after;                                   // a file of what was told, "" = none
};

// Of every CSV that is written.
struct CsvOptions {
  std::optional<char> delimiter;  // absent: a comma, or a semicolon beside decimal commas
  bool decimal_comma = false;
  bool any() const { return delimiter || decimal_comma; }
  CsvStyle style() const { return {delimiter.value_or(decimal_comma ? ';' : ','), decimal_comma}; }
};

}  // namespace plumblane::client
