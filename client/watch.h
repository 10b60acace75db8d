// `watch`: changes of scores as they happen.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// Until the daemon ends it, or nobody reads any more.
ExitCode RunWatch(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
