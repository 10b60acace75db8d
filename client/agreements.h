// `plumblane quotes`, `terms`, `pause`, `resume`, `rates`, `items` and `costs`.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunAgreements(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
