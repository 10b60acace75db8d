// What came of sending a file: counted as receipts come in, told at the end.
//
// Pure, not thread-safe.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "base/time.h"
#include "client/row.h"
#include "client/sender.h"
#include "plumblane/v1/intake.pb.h"

namespace plumblane::client {

// How often something was said of an event, and the first time.
struct Remarks {
  int64_t count = 0;
  int64_t first_line = 0;
  std::string first_message;

  void Add(int64_t line, const std::string& message);
};

// What a source is known to tell after this file.
struct SourceNews {
  Instant latest{0};            // of the events that were taken or known; retractions aside
  bool has_scans = false;       // shipped or delivered: the file tells how far tracking goes
  bool has_deliveries = false;  // only such sources limit what is called late
  bool is_reported = false;     // the daemon was told
  Instant complete_through{0};  // up to when
};

struct FileReport {
  std::string name;
  std::string rejected_path;
  bool is_empty = false;     // holds no event at all
  bool is_complete = false;  // everything was sent and answered
  bool is_mapped = false;    // a table, read by a map
  int64_t events = 0;        // lines, those rejected here included
  int64_t taken = 0, repeats = 0, conflicts = 0, rejected = 0;
  int64_t not_kept = 0;  // of orders that the daemon has purged or erased: not taken
  int64_t new_orders = 0, waiting = 0, unpromised = 0;  // differences, may be below zero
  Remarks contradictions, conflict_remarks, waiting_retractions, doubts;
  std::map<std::string, SourceNews> sources;
};

// Counts a receipt and returns what it refuses, with the lines of `batch`.
std::vector<Rejection> TakeReceipt(const std::vector<Outgoing>& batch,
                                   const v1::BatchReceipt& receipt, FileReport& report);

// The last lines of `send`: each thought begins a line, and goes on indented below when it does not
// fit into `width` columns. `send` is the number to take it back by, 0 = none.
std::string ToText(const std::vector<FileReport>& reports, int width, int64_t send = 0);

// One file of many, on one line: as text, and as JSON.
std::string ToLine(const FileReport& report);
std::string ToJsonLine(const FileReport& report);

// The same numbers as one JSON document.
std::string ToJson(const std::vector<FileReport>& reports, int64_t send = 0);

}  // namespace plumblane::client
