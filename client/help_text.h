// The examples that open each command's help, and the longer texts in it.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace plumblane::client {

struct Help {
  std::string_view command, examples, notes = {}, more_notes = {};
};

// That of rank, assign, assignments and all that is agreed; help_text.cc has what is left.
std::span<const Help> SourcingHelp();

// That of underway, claims and alerts.
std::span<const Help> ChaseHelp();

// That of map.
std::span<const Help> MapHelp();

// That of review.
std::span<const Help> ReviewHelp();

// That of export and watch.
std::span<const Help> ExportHelp();

// That of sends.
std::span<const Help> SendsHelp();

// That of erase.
std::span<const Help> EraseHelp();

// That of verify and backup.
std::span<const Help> UpkeepHelp();

// For "", "send", "excuse add": whole lines, indented.
std::string_view ExamplesFor(std::string_view command);

// What follows the options of a command, "" = nothing.
std::string NotesFor(std::string_view command);

}  // namespace plumblane::client
