// `status`: the daemon and its feeds.
//
// Pure.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/operations.pb.h"

namespace plumblane::client {

// The sources that tell of deliveries and whose news is `days` old or older, a line each:
// "tracking: complete up to 2026-09-20, 11 days ago; what was due since is not judged".
std::vector<std::string> SilentFeeds(const v1::ServerStatus& status, int days);

inline constexpr int kSilentFeedDays = 3;

// Names feeds silent for kSilentFeedDays.
std::string ShowStatus(const v1::ServerStatus& status, const std::string& address, int width);

}  // namespace plumblane::client
