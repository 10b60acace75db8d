// A table somebody keeps in a file, CSV or NDJSON: quotes, terms, rates, items, open orders.
//
// Unlike events a table is read whole before anything is done with it. See event_file.h for what is
// wrong with a file as a whole; a column that the table does not have is such a thing.
#pragma once

#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "client/connection.h"
#include "client/event_file.h"
#include "client/io.h"
#include "client/row.h"
#include "plumblane/v1/agreements.pb.h"

namespace plumblane::client {

struct TableColumns {
  std::span<const std::string_view> all;
  std::span<const std::string_view> needed;  // of a CSV file
};

// The rows in their order, or why there are none; a file without a row is refused, too.
// `path` "-" reads `io.in_fd`.
std::variant<std::vector<RowOrRejection>, Refusal> ReadTable(const std::string& path,
                                                             const TableColumns& columns,
                                                             const Io& io);

// One kind of load: what its rows become and who takes them.
struct TableLoad {
  std::string_view noun;  // "quote"
  TableColumns columns;
  // Puts the row into the request, or says what is wrong with it.
  std::function<std::optional<Complaint>(const Row&)> add;
  // Sends the request. The positions in its answer count the rows put in.
  std::function<grpc::Status(bool validate_only, v1::LoadResponse*)> send;
};

// All or nothing: rows wrong in form are collected, the rest is checked by the daemon all the same,
// and every wrong row is told, in rejected_file.h's way. JSON is the daemon's answer, its positions
// counting the rows of the file.
ExitCode LoadTable(const std::string& path, const TableLoad& load, bool json,
                   const Connection& connection, const Io& io);

// The same answer of a load whose rows were all right, in words.
// `plural` defaults to `noun` with an s.
std::string LoadedText(const v1::LoadResponse& answer, std::string_view noun,
                       std::string_view plural = "");

// The column that a field of the API comes from: "class" for "item_class".
std::string ColumnOf(const std::string& api_field);

}  // namespace plumblane::client
