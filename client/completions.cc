#include "client/completions.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <absl/strings/str_replace.h>

namespace plumblane::client {
namespace {

// In single quotes of a POSIX shell.
std::string Quote(const std::string& text) {
  return absl::StrCat("'", absl::StrReplaceAll(text, {{"'", "'\\''"}}), "'");
}

std::string LastWord(const Command& command) {
  return command.path.substr(command.path.rfind(' ') + 1);  // npos + 1 = 0
}

bool TakesFileWord(const Command& command) {
  for (const CommandOption& option : command.options) {
    if (option.IsWord() && option.TakesFile()) return true;
  }
  return false;
}

// Options that stand after `command`: its own, and the program's.
std::vector<const CommandOption*> OptionsAt(const Command& root, const Command& command) {
  std::vector<const CommandOption*> all;
  for (const CommandOption& option : command.options) {
    if (!option.IsWord()) all.push_back(&option);
  }
  if (&command == &root) return all;
  for (const CommandOption& option : root.options) {
    if (!option.IsWord()) all.push_back(&option);
  }
  return all;
}

// A case pattern of all paths, each after `before`: the words that lead to a command.
std::string Paths(const Command& root, const char* before) {
  std::vector<std::string> paths;
  for (const Command* command : AllCommands(root)) {
    if (!command->path.empty()) paths.push_back(Quote(absl::StrCat(before, command->path)));
  }
  return absl::StrJoin(paths, "|");
}

// `PATH OPTION` of all options that take a value, those of a file or those of something else.
std::string ValuePattern(const Command& root, bool files) {
  std::vector<std::string> pattern;
  for (const Command* command : AllCommands(root)) {
    for (const CommandOption* option : OptionsAt(root, *command)) {
      if (option->value_name.empty() || option->TakesFile() != files) continue;
      for (const std::string& name : option->names) {
        pattern.push_back(Quote(absl::StrCat(command->path, " ", name)));
      }
    }
  }
  return absl::StrJoin(pattern, "|");
}

std::string Bash(const Command& root) {
  std::string script = absl::StrCat(
      R"(# Completions of plumblane for bash: source this file.
_plumblane() {
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} at= words= files= i
  for ((i = 1; i < COMP_CWORD; ++i)); do
    case "$at ${COMP_WORDS[i]}" in
      )",
      Paths(root, " "), R"() at="$at ${COMP_WORDS[i]}" ;;
    esac
  done
  at=${at# }
  COMPREPLY=()
  case "$at $before" in
    )",
      ValuePattern(root, true), R"() compopt -o default 2>/dev/null; return ;;
    )",
      ValuePattern(root, false), R"() return ;;
  esac
  case "$at" in
)");
  for (const Command* command : AllCommands(root)) {
    std::vector<std::string> words;
    for (const Command& below : command->commands) words.push_back(LastWord(below));
    std::vector<std::string> options;
    for (const CommandOption* option : OptionsAt(root, *command)) {
      options.insert(options.end(), option->names.begin(), option->names.end());
    }
    absl::StrAppend(&script, "    ", Quote(command->path), ") words='", absl::StrJoin(words, " "),
                    "'; [[ $word == -* ]] && words='", absl::StrJoin(options, " "), "'",
                    TakesFileWord(*command) ? "; files=1" : "", " ;;\n");
  }
  absl::StrAppend(&script, R"(  esac
  COMPREPLY=($(compgen -W "$words" -- "$word"))
  if [[ $files && $word != -* ]]; then compopt -o default 2>/dev/null; fi
}
complete -F _plumblane plumblane
)");
  return script;
}

// NAME:HELP as _describe reads it.
std::string Described(const std::string& name, const std::string& help) {
  return Quote(absl::StrCat(absl::StrReplaceAll(name, {{":", "\\:"}}), ":", help));
}

std::string Zsh(const Command& root) {
  std::string script = absl::StrCat(R"(#compdef plumblane
# Completions of plumblane for zsh: put this into a folder of $fpath as _plumblane.
_plumblane() {
  local at= i
  local -a commands options
  for ((i = 2; i < CURRENT; ++i)); do
    case "$at ${words[i]}" in
      )",
                                    Paths(root, " "), R"() at="$at ${words[i]}" ;;
    esac
  done
  at=${at# }
  case "$at ${words[CURRENT-1]}" in
    )",
                                    ValuePattern(root, true), R"() _files; return ;;
    )",
                                    ValuePattern(root, false), R"() return ;;
  esac
  case "$at" in
)");
  for (const Command* command : AllCommands(root)) {
    std::vector<std::string> commands, options;
    for (const Command& below : command->commands) {
      commands.push_back(Described(LastWord(below), below.help));
    }
    for (const CommandOption* option : OptionsAt(root, *command)) {
      for (const std::string& name : option->names) {
        options.push_back(Described(name, option->help));
      }
    }
    absl::StrAppend(&script, "    ", Quote(command->path), ")\n      commands=(",
                    absl::StrJoin(commands, " "), ")\n      options=(", absl::StrJoin(options, " "),
                    ")", TakesFileWord(*command) ? "\n      [[ $PREFIX != -* ]] && _files" : "",
                    " ;;\n");
  }
  absl::StrAppend(&script, R"(  esac
  if [[ $PREFIX == -* ]]; then _describe option options; else _describe command commands; fi
}
if [[ $funcstack[1] == _plumblane ]]; then _plumblane "$@"; else compdef _plumblane plumblane; fi
)");
  return script;
}

std::string Fish(const Command& root) {
  std::string script = absl::StrCat(
      R"(# Completions of plumblane for fish: put this into ~/.config/fish/completions.
function __plumblane_at
  set -l at
  for word in (commandline -opc)[2..-1]
    if contains -- (string join ' ' $at $word) )",
      absl::StrReplaceAll(Paths(root, ""), {{"|", " "}}), R"(
      set at $at $word
    end
  end
  test "$at" = "$argv[1]"
end
complete -c plumblane -f
)");
  for (const Command* command : AllCommands(root)) {
    const std::string here =
        absl::StrCat("complete -c plumblane -n '__plumblane_at \"", command->path, "\"'");
    for (const Command& below : command->commands) {
      absl::StrAppend(&script, here, " -a ", LastWord(below), " -d ", Quote(below.help), "\n");
    }
    if (TakesFileWord(*command)) absl::StrAppend(&script, here, " -F\n");
    for (const CommandOption& option : command->options) {
      if (option.IsWord()) continue;
      absl::StrAppend(&script, command == &root ? "complete -c plumblane" : here);
      for (const std::string& name : option.names) {
        absl::StrAppend(&script, name.starts_with("--") ? " -l " : " -s ",
                        name.substr(name.find_first_not_of('-')));
      }
      absl::StrAppend(&script,
                      option.value_name.empty() ? ""
                      : option.TakesFile()      ? " -r -F"
                                                : " -x",
                      " -d ", Quote(option.help), "\n");
    }
  }
  return script;
}

}  // namespace

std::string Completions(const Command& root, Shell shell) {
  switch (shell) {
    case Shell::kBash:
      return Bash(root);
    case Shell::kZsh:
      return Zsh(root);
    case Shell::kFish:
      return Fish(root);
  }
  return "";
}

}  // namespace plumblane::client
