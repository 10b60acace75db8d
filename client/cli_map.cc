#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

// "lines=lines.csv".
absl::StatusOr<std::pair<std::string, std::string>> ParseJoin(const std::string& text) {
  const size_t equals = text.find('=');
  if (equals != std::string::npos && equals > 0 && equals + 1 < text.size()) {
    return std::pair(text.substr(0, equals), text.substr(equals + 1));
  }
  return absl::InvalidArgumentError("expected NAME=FILE, the name as in the map");
}

}  // namespace

void AddMapping(CLI::App& app, Invocation& to) {
  MappingOptions& mapping = to.send.mapping;
  CLI::App& send = *app.get_subcommand("send");
  CLI::Option* map = AddParsed(send, "--map", "MAP.toml", "The files are tables, read by this map",
                               ParseText, mapping.map);
  AddParsed(send, "--revision", "TIME", "When the export was made; else the file's own time",
            ParseMoment, mapping.revision)
      ->needs(map);
  AddText(send, "--join", "NAME=FILE", "The second table that the map calls so",
          [&mapping](const std::string& text) {
            mapping.joins.insert(Checked("--join", text, ParseJoin(text)));
          })
      ->trigger_on_parse()
      ->needs(map);
  send.add_flag("--dry-run", mapping.dry_run, "Show what a map makes of a table, and send nothing")
      ->needs(map);
  CLI::App& propose = AddCommand(app, to, "map", Verb::kMap, "Look at a table and propose a map");
  AddParsed(propose, "FILE", "", "A table with one order a row", ParseText, to.propose.file);
  AddParsed(propose, "-o,--output", "FILE", "Write the map there, if no such file is there yet",
            ParseText, to.propose.output);
}

}  // namespace plumblane::client
