// What the files cli*.cc share: how commands and options are told to CLI11.
#pragma once

#include <absl/status/statusor.h>
#include <absl/strings/str_cat.h>

#include <CLI/CLI.hpp>
#include <string>

#include "client/invocation.h"
#include "client/text.h"

namespace plumblane::client {

// The value of an option, or a usage error that names the option.
template <typename Value>
Value Checked(const std::string& option, const std::string& text, absl::StatusOr<Value> value) {
  if (value.ok()) return *std::move(value);
  const std::string expected(value.status().message());
  throw CLI::ValidationError(option, absl::StrCat(expected, ", not ", Quoted(text)));
}

// An option or, without a hyphen, a required word, whose value goes through `take`.
template <typename Take>
CLI::Option* AddText(CLI::App& app, const std::string& option, const std::string& value_name,
                     const std::string& help, Take take) {
  CLI::Option* added = app.add_option_function<std::string>(option, take, help);
  added->type_name(value_name);
  return option[0] == '-' ? added : added->required();
}

// The same, read by `parse` into `to`.
template <typename Parse, typename To>
CLI::Option* AddParsed(CLI::App& app, const std::string& option, const std::string& value_name,
                       const std::string& help, Parse parse, To& to) {
  return AddText(app, option, value_name, help, [option, parse, &to](const std::string& text) {
    to = Checked(option, text, parse(text));
  });
}

// A command that, when given, makes `to` ask for `verb`. Both must outlive the parsing.
inline CLI::App& AddCommand(CLI::App& parent, Invocation& to, const std::string& name, Verb verb,
                            const std::string& help) {
  CLI::App* sub = parent.add_subcommand(name, help);
  sub->fallthrough();
  sub->callback([&to, verb] { to.verb = verb; });
  return *sub;
}

// `map`, and what `send` takes for maps; after `send`.
void AddMapping(CLI::App& app, Invocation& to);

// All that there is.
void AddAll(CLI::App& app, Invocation& to);

// The token and TLS, which go with every command.
void AddAccess(CLI::App& app, Invocation& to);

// `completions` and `manual`.
void AddShell(CLI::App& app, Invocation& to);

// `rank`, `assign` and `assignments`; what only their whole line shows to be wrong, "" = nothing.
void AddSourcing(CLI::App& app, Invocation& to);
std::string CheckSourcing(const Invocation& invocation);

// `quotes`, `terms`, `pause`, `resume`, `rates`, `items` and `costs`.
void AddAgreements(CLI::App& app, Invocation& to);

// `underway`, `claims` and `alerts`; what only their whole line shows to be wrong, "" = nothing.
void AddChase(CLI::App& app, Invocation& to);
std::string CheckChase(const Invocation& invocation);

// `review`; what only its whole line shows to be wrong, "" = nothing.
void AddReview(CLI::App& app, Invocation& to);
std::string CheckReview(const Invocation& invocation);

// --delimiter and --decimal-comma, for a command that writes CSV.
void AddCsvStyle(CLI::App& app, Invocation& to);
std::string CheckCsvStyle(const Invocation& invocation);

// `export` and `watch`; what only their whole line shows to be wrong, "" = nothing.
void AddExport(CLI::App& app, Invocation& to);
std::string CheckExport(const Invocation& invocation);

// `sends` and `sends undo`.
void AddSends(CLI::App& app, Invocation& to);

// `erase`.
void AddErase(CLI::App& app, Invocation& to);

// `verify` and `backup`.
void AddUpkeep(CLI::App& app, Invocation& to);

}  // namespace plumblane::client
