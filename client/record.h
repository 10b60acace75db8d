// `plumblane record`: one event by hand.
//
// It is read and checked like a line of a file. Its source is `hand` and its time is now unless
// given; its id, unless given, is made of everything said and the time, so that the same words with
// the same --time change nothing the second time.
#pragma once

#include <string>
#include <vector>

#include "base/time.h"
#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// The row for `fields`, with time, source and id filled in.
Row ToRow(std::vector<Cell> fields, Instant now);

ExitCode RunRecord(const RecordOptions& options, bool json, const Connection& connection,
                   const Io& io);

}  // namespace plumblane::client
