// `review`: the account of a period, and the orders behind it as a file.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunReview(const Invocation& invocation, const Connection& connection, const Io& io);

}  // namespace plumblane::client
