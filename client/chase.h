// `underway` and `claims`: what is still to come, and what suppliers still owe.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunChase(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
