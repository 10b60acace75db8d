// `plumblane rank`.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunRank(const Invocation& invocation, const Connection& connection, const Io& io);

// " from VN by express", as far as the order says so.
std::string WayText(const WantedOrder& order);

}  // namespace plumblane::client
