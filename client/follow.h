// `plumblane send --follow`: sends what comes to a file or into a directory, as it comes.
//
// Looks once a second (new_lines.h says what counts as new). Of a directory the ordinary files with
// a name that does not begin with a dot and ends in .csv, .json, .ndjson or .jsonl, with a map in
// .csv, .tsv or .txt; each is a send of its own, from the start of the program on. A file that was
// renamed is known by its inode; when another one stands in its place, what was left of the old one
// is sent first, if it still lies in the same directory.
//
// With a map, each file is a table that is mapped whole (mapped_file.h), a second after it has
// stopped changing, and whole again whenever it has changed: its rows keep their ids, so what has
// not changed is known already. One that is no table, or that the map does not fit, is passed over
// until it changes.
//
// The place in a file is noted once the daemon has everything before it (follow_state.h). When the
// daemon is away, or ends the stream, it tries again after 1 s, then twice as long each time up to
// 60 s, each shortened by up to half by chance. Nothing is lost and nothing counts twice: what was
// sent before a break is sent again, and known.
//
// Ends with kDone on SIGINT or SIGTERM, after what is being sent; with kUsage or kFailed at once
// when the time zones or the map cannot be read.
#pragma once

#include "client/invocation.h"
#include "client/io.h"
#include "client/servers.h"

namespace plumblane::client {

// SIGINT and SIGTERM wait for RunFollow. To be called before there are other threads.
void BlockStopSignals();

// REQUIRES: BlockStopSignals() was called.
ExitCode RunFollow(const SendOptions& options, bool json, Servers& servers, const Io& io);

}  // namespace plumblane::client
