// Alerts, notices and watches as a person reads them.
//
// Pure; `width` is the number of columns to fit into.
#pragma once

#include <string>

#include "plumblane/v1/alerts.pb.h"

namespace plumblane::client {

// Each with its sentence, the figures behind it, and what to do. `with_closed`: it was asked for
// closed ones, too.
std::string ShowAlerts(const v1::ListAlertsResponse& answer, bool with_closed, int width);

// "active since 2026-09-20", "shelved until 2026-12-01".
std::string AlertStateText(const v1::Alert& alert);

// One line, cursor first: "17 2026-09-20 14:02 UTC raised late-vn-de: Orders on ...".
std::string NoticeLine(const v1::AlertNotice& notice);

// How soon late orders of each lane would be heard of: "3 times the odds of a late order would
// be heard of, on average, within these days: VN-DE 6.2, TR-SE 12." "" without such watches.
std::string ShowHeardOfLanes(const v1::ListWatchesResponse& answer, int width);

// A table of what is watched and how soon it would be heard, or why nothing can be said.
std::string ShowWatches(const v1::ListWatchesResponse& answer, int width);

}  // namespace plumblane::client
