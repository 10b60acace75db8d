#include "client/manual.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <absl/strings/str_replace.h>
#include <absl/strings/str_split.h>

#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr char kExits[] = R"(.SH EXIT STATUS
.TP
.B 0
Done.
.TP
.B 1
Failed: a file cannot be read, the daemon refused, output cannot be written.
.TP
.B 2
The command line, the settings or a question makes no sense.
.TP
.B 3
Some events or rows were not taken; all others were.
.TP
.B 4
What was asked for is the case: an alert is active.
.TP
.B 5
No supplier can get the order.
.TP
.B 6
No daemon answers, or the connection broke.
)";

constexpr char kSurroundings[] = R"(.SH ENVIRONMENT
.TP
.B PLUMBLANE_SERVER
The daemon's address, where \-\-server is not given.
.TP
.B PLUMBLANE_SETTINGS
The settings file, instead of the one below.
.TP
.B COLUMNS
How wide tables may be; else as the terminal is, at least 80.
.PP
No colours are used, whatever NO_COLOR says.
.SH FILES
.TP
.I ~/.config/plumblane/client.toml
Settings, all optional; $XDG_CONFIG_HOME stands for ~/.config where it is set:
.PP
.RS
.nf
server = "unix:/run/plumblane/plumblane.sock"
plain = false
[send]
shop = "harbour"
source = "till"
time_zone = "Europe/Dublin"
.fi
.RE
)";

// Text that roff takes as it is: no escapes, no requests.
std::string Escaped(const std::string& text) {
  std::string out = absl::StrReplaceAll(text, {{"\\", "\\e"}, {"-", "\\-"}, {"'", "\\(aq"}});
  if (absl::StartsWith(out, ".")) out.insert(0, "\\&");
  return out;
}

std::string Lines(const std::string& text) {
  std::string out;
  for (const std::string& line : std::vector<std::string>(absl::StrSplit(text, '\n'))) {
    absl::StrAppend(&out, Escaped(line), "\n");
  }
  return out;
}

std::string AsIs(const std::string& text) { return absl::StrCat(".nf\n", Lines(text), ".fi\n"); }

std::string OptionText(const CommandOption& option) {
  std::vector<std::string> names;
  for (const std::string& name : option.names) {
    names.push_back(absl::StrCat("\\fB", Escaped(name), "\\fR"));
  }
  return absl::StrCat(".TP\n", absl::StrJoin(names, ", "), option.value_name.empty() ? "" : " \\fI",
                      Escaped(option.value_name), option.value_name.empty() ? "" : "\\fR", "\n",
                      Lines(option.help));
}

std::string CommandText(const Command& command) {
  std::string text =
      absl::StrCat(".SS plumblane ", Escaped(command.path), "\n", Escaped(command.help), ".\n");
  for (const CommandOption& option : command.options) {
    if (option.names.front() != "-h") absl::StrAppend(&text, OptionText(option));
  }
  const std::string examples(ExamplesFor(command.path));
  if (!examples.empty()) absl::StrAppend(&text, ".PP\n", AsIs(examples));
  const std::string notes = NotesFor(command.path);
  if (!notes.empty()) absl::StrAppend(&text, ".PP\n", AsIs(notes));
  return text;
}

}  // namespace

std::string ManualPage(const Command& root, const std::string& version) {
  std::string page = absl::StrCat(".TH PLUMBLANE 1 \"\" \"plumblane ", version, "\"\n",
                                  ".SH NAME\nplumblane \\- ", Escaped(root.help),
                                  "\n.SH SYNOPSIS\n.B plumblane\n[\\fIOPTIONS\\fR] "
                                  "\\fICOMMAND\\fR ...\n.SH EXAMPLES\n",
                                  AsIs(std::string(ExamplesFor(""))), ".SH OPTIONS\n");
  for (const CommandOption& option : root.options) absl::StrAppend(&page, OptionText(option));
  absl::StrAppend(&page, ".SH COMMANDS\n");
  for (const Command* command : AllCommands(root)) {
    if (command != &root) absl::StrAppend(&page, CommandText(*command));
  }
  return absl::StrCat(page, kExits, kSurroundings);
}

}  // namespace plumblane::client
