// `export`: all of it as a table for other tools, row by row as it comes.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// Holds one message of the daemon at a time, whatever the whole is long. A file is there whole or
// not at all.
ExitCode RunExport(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
