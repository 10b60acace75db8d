// Carries a command line out: parse, call, show, exit code.
#pragma once

#include <string>
#include <vector>

#include "client/invocation.h"
#include "client/io.h"
#include "client/servers.h"

namespace plumblane::client {

ExitCode Run(const Invocation& invocation, Servers& servers, const Io& io);

// The whole program. `arguments` without its name.
ExitCode RunCommandLine(const std::vector<std::string>& arguments, const Io& io);

}  // namespace plumblane::client
