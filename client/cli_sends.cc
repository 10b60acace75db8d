#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

constexpr int kMostSends = 1'000'000'000;

}  // namespace

void AddSends(CLI::App& app, Invocation& to) {
  SendsOptions& options = to.sends;
  CLI::App& sends = AddCommand(app, to, "sends", Verb::kSends, "What was sent when");
  sends.add_flag("--all", options.all, "All of them, not the latest 20 only");
  CLI::App& undo =
      AddCommand(sends, to, "undo", Verb::kSendsUndo, "Take a whole send back, after asking");
  AddText(undo, "N", "", "Its number", [&options](const std::string& text) {
    options.number = Checked("N", text, ParseNumber<1, kMostSends>(text));
  });
  undo.add_flag("--yes", options.yes, "Do it without asking");
  // A command by itself, too: its callback runs after that of the command under it.
  sends.callback([&to, &sends] {
    if (sends.get_subcommands().empty()) to.verb = Verb::kSends;
  });
}

}  // namespace plumblane::client
