// `today`: what needs somebody now, from several answers of the daemon.
#pragma once

#include "client/connection.h"
#include "client/io.h"

namespace plumblane::client {

// With `json` one object with a member for each answer: alerts, underway, claims, quotes, terms,
// status.
ExitCode RunToday(bool json, const Connection& connection, const Io& io);

}  // namespace plumblane::client
