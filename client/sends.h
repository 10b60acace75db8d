// `plumblane sends`: what was sent when; `sends undo`: takes a whole send back, after showing what
// that changes. It asks on a terminal; elsewhere it needs --yes.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunSends(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
