// `status`: the daemon and its feeds.
//
// Pure.
#pragma once

#include <string>

#include "plumblane/v1/operations.pb.h"

namespace plumblane::client {

std::string ShowStatus(const v1::ServerStatus& status, const std::string& address, int width);

}  // namespace plumblane::client
