// From the words of the command line to an Invocation. The only part that knows CLI11.
//
// Options that hold everywhere work before and after the command. An unknown command or option is
// answered with the nearest one. Everything that can be seen to be wrong without a daemon is wrong
// here: exit code kUsage.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "client/command_tree.h"
#include "client/exit_codes.h"
#include "client/invocation.h"
#include "client/settings.h"

namespace plumblane::client {

// Nothing is left to do but to print and leave: help, version, a mistake.
struct Leave {
  ExitCode exit_code = kDone;
  std::string out, err;
};

// `arguments` without the program's name. What they leave open is as `settings` say, but for the
// server, of which the environment has its say first.
std::variant<Invocation, Leave> ParseCommandLine(const std::vector<std::string>& arguments,
                                                 const Settings& settings = {});

// All commands and options there are.
Command DescribeCommands();

std::string Version();

}  // namespace plumblane::client
