// Scripts that let a shell complete commands, options and file names.
//
// Pure and thread-safe.
#pragma once

#include <string>

#include "client/command_tree.h"

namespace plumblane::client {

enum class Shell { kBash, kZsh, kFish };

// Options of the program itself are offered after every command. REQUIRES: help texts and names
// without control characters.
std::string Completions(const Command& root, Shell shell);

}  // namespace plumblane::client
