// `plumblane verify`: whether what the daemon keeps is what it was told; `plumblane backup`: a copy
// of all of it, while the daemon goes on.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// Verify says kFailed when there is a difference.
ExitCode RunUpkeep(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
