// `plumblane map`: looks at a table from its beginning to its end and writes a map for it, to
// standard output or a new file; a file that is there already is not touched, since somebody may
// have settled its questions. No daemon is asked.
#pragma once

#include "client/exit_codes.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunMap(const ProposeOptions& options, bool json, const Io& io);

}  // namespace plumblane::client
