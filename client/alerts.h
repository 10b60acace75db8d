// `alerts` and the commands under it: what turned bad, what was done about it, how it is watched.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// kConditionHolds when an alert is listed that is neither acknowledged, shelved nor closed.
ExitCode RunAlerts(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
