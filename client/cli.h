// From the words of the command line to an Invocation. The only part that knows CLI11.
//
// Options that hold everywhere work before and after the command. An unknown command or option is
// answered with the nearest one. Everything that can be seen to be wrong without a daemon is wrong
// here: exit code kUsage.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "client/exit_codes.h"
#include "client/invocation.h"

namespace plumblane::client {

// Nothing is left to do but to print and leave: help, version, a mistake.
struct Leave {
  ExitCode exit_code = kDone;
  std::string out, err;
};

// `arguments` without the program's name.
std::variant<Invocation, Leave> ParseCommandLine(const std::vector<std::string>& arguments);

}  // namespace plumblane::client
