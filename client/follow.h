// `plumblane send --follow`: sends what comes to a file or into a directory, as it comes.
//
// Looks once a second (new_lines.h says what counts as new). Of a directory the ordinary files with
// a name that ends in .csv, .json, .ndjson or .jsonl and does not begin with a dot; each is a send
// of its own, from the start of the program on. A file that was renamed is known by its inode; when
// another one stands in its place, what was left of the old one is sent first, if it still lies in
// the same directory.
//
// The place in a file is noted once the daemon has everything before it (follow_state.h). When the
// daemon is away, or ends the stream, it tries again after 1 s, then twice as long each time up to
// 60 s, each shortened by up to half by chance. Nothing is lost and nothing counts twice: what was
// sent before a break is sent again, and known.
//
// Ends with kDone on SIGINT or SIGTERM, after what is being sent; with kUsage or kFailed at once
// when the time zones cannot be read.
#pragma once

#include "client/connection.h"
#include "client/invocation.h"
#include "client/io.h"

namespace plumblane::client {

// SIGINT and SIGTERM wait for RunFollow. To be called before there are other threads.
void BlockStopSignals();

// REQUIRES: BlockStopSignals() was called.
ExitCode RunFollow(const SendOptions& options, bool json, Connection& connection, const Io& io);

}  // namespace plumblane::client
