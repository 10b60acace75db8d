// The manual page plumblane(1), in the man macros of roff.
//
// Pure and thread-safe.
#pragma once

#include <string>

#include "client/command_tree.h"

namespace plumblane::client {

std::string ManualPage(const Command& root, const std::string& version);

}  // namespace plumblane::client
