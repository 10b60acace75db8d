// `plumblane send --map MAP.toml --dry-run`: the first orders of a table as they would count, and
// everything that raises a doubt, counted over the whole table. Nothing is sent, and no daemon is
// asked; so a promise that a quote or terms would give is not shown.
//
// Doubts: rows that are refused, by reason; rows that give no event; dates none of which tells day
// from month; events that come before what they need (delivered before paid) or after the export
// was made, as dates read the wrong way round do; orders without a promise.
#pragma once

#include <memory>
#include <vector>

#include "base/zones.h"
#include "client/draft_source.h"
#include "client/exit_codes.h"
#include "client/io.h"

namespace plumblane::client {

// kSomeRejected when a row is refused, kFailed when a file cannot be read to its end.
ExitCode RunDryRun(const std::vector<std::unique_ptr<DraftSource>>& sources, const Zones& zones,
                   bool json, const Io& io);

}  // namespace plumblane::client
