// What the shell is told of the program, and the option tree as data.
#include "client/cli.h"
#include "client/cli_parts.h"
#include "client/option_values.h"

#ifndef PLUMBLANE_VERSION
#define PLUMBLANE_VERSION "unknown"
#endif

namespace plumblane::client {
namespace {

CommandOption DescribeOption(const CLI::Option& option) {
  CommandOption described;
  for (const std::string& name : option.get_snames()) described.names.push_back("-" + name);
  for (const std::string& name : option.get_lnames()) described.names.push_back("--" + name);
  if (described.names.empty()) described.names.push_back(option.get_name());
  // Flags, help and version take no value.
  if (option.get_items_expected_max() > 0) described.value_name = option.get_type_name();
  described.help = option.get_description();
  return described;
}

Command Describe(const CLI::App& app, const std::string& path) {
  Command command{path, app.get_description(), {}, {}};
  for (const CLI::Option* option : app.get_options()) {
    command.options.push_back(DescribeOption(*option));
  }
  for (const CLI::App* sub : app.get_subcommands({})) {
    const std::string before = path.empty() ? "" : path + " ";
    command.commands.push_back(Describe(*sub, before + sub->get_name()));
  }
  return command;
}

}  // namespace

std::string Version() { return PLUMBLANE_VERSION; }

void AddShell(CLI::App& app, Invocation& to) {
  CLI::App& completions = AddCommand(app, to, "completions", Verb::kCompletions,
                                     "Print what lets a shell complete commands");
  AddParsed(completions, "SHELL", "", "bash, zsh or fish", ParseShell, to.shell);
  AddCommand(app, to, "manual", Verb::kManual, "Print the manual page, for \"man -l -\"");
}

Command DescribeCommands() {
  Invocation none;
  CLI::App app;
  AddAll(app, none);
  return Describe(app, "");
}

}  // namespace plumblane::client
