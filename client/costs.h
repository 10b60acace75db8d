// `plumblane costs`: load, show, propose.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunCosts(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
