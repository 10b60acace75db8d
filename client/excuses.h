// `plumblane excuse`: add, load, list, withdraw.
#pragma once

#include <string>
#include <vector>

#include "client/connection.h"
#include "client/csv_reader.h"
#include "client/invocation.h"
#include "client/io.h"
#include "plumblane/v1/orders.pb.h"

namespace plumblane::client {

// One row of an excuse file with these columns to an excuse, or what is wrong with it: a lane with
// both days or an order, and a reason.
std::optional<Complaint> ReadExcuse(const std::vector<std::string>& columns,
                                    const std::vector<std::string>& cells, v1::Excuse& excuse);

ExitCode RunExcuse(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
