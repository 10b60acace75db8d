#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

constexpr int kMostCopies = 10'000;

}  // namespace

void AddUpkeep(CLI::App& app, Invocation& to) {
  AddCommand(app, to, "verify", Verb::kVerify, "Is what is kept what was told?");
  CLI::App& backup =
      AddCommand(app, to, "backup", Verb::kBackup, "Copy all data, while the daemon goes on");
  AddParsed(backup, "DIR", "", "Where copies are kept, on the daemon's machine", ParseText,
            to.backup.directory);
  AddParsed(backup, "--keep", "N", "Remove all copies but the latest N",
            ParseNumber<1, kMostCopies>, to.backup.keep);
}

}  // namespace plumblane::client
