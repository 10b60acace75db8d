// `plumblane erase`: takes orders or a supplier out for good. It asks on a terminal; elsewhere it
// needs --yes.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunErase(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
