// `plumblane send`: files of events to the daemon, and what came of it.
//
// Every file is opened and its form checked before anything is sent. Then each goes line by line:
// read, check, fill in, send, with lines that are of no use and events that the daemon refuses
// going to FILE.rejected. After a file its sources are reported complete: up to --complete-through,
// else up to the latest event of the source in it. Standard input counts as live, and what has
// arrived is sent on when no more comes for a moment.
//
// A connection that breaks ends the command; everything before the line it names is safe, and
// sending the same file again repairs the rest.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

ExitCode RunSend(const SendOptions& options, bool json, Connection& connection, const Io& io);

}  // namespace plumblane::client
