// The commands and options of the program as data, for what is made of them: completions and the
// manual.
#pragma once

#include <string>
#include <vector>

namespace plumblane::client {

struct CommandOption {
  std::vector<std::string> names;  // "-o", "--output"; of a required word the one name without dash
  std::string value_name;          // "" = a flag, takes no value
  std::string help;

  bool IsWord() const { return names.front()[0] != '-'; }
  // Whether a file's name is expected: as the value, or as the word.
  bool TakesFile() const { return value_name == "FILE" || (IsWord() && names.front() == "FILE"); }
};

struct Command {
  std::string path;  // "" for the program, else its words: "alerts watch"
  std::string help;
  std::vector<CommandOption> options;
  std::vector<Command> commands;
};

// `root` and all below it, each before what is below it. The pointers are into `root`.
std::vector<const Command*> AllCommands(const Command& root);

}  // namespace plumblane::client
