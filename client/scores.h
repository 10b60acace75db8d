// `plumblane suppliers`, `supplier`, `lanes` and `lane`.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunScores(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
