// The examples that open each command's help, and the longer texts in it.
#pragma once

#include <string>
#include <string_view>

namespace plumblane::client {

// For "", "send", "excuse add": whole lines, indented.
std::string_view ExamplesFor(std::string_view command);

// What follows the options of a command, "" = nothing.
std::string NotesFor(std::string_view command);

}  // namespace plumblane::client
