#include <absl/strings/match.h>

#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {
namespace {

absl::StatusOr<TableForm> ParseForm(const std::string& text) {
  if (text == "csv") return TableForm::kCsv;
  if (text == "ndjson") return TableForm::kNdjson;
  if (text == "json") return TableForm::kJson;
  return absl::InvalidArgumentError("expected csv, ndjson or json");
}

absl::StatusOr<char> ParseDelimiter(const std::string& text) {
  if (text == "tab" || text == "\t") return '\t';
  if (text == "," || text == ";" || text == "|") return text[0];
  return absl::InvalidArgumentError("expected , or ; or | or tab");
}

absl::StatusOr<v1::ScoreKind> ParseKind(const std::string& text) {
  if (text == "suppliers") return v1::SCORE_KIND_SUPPLIER;
  if (text == "lanes") return v1::SCORE_KIND_LANE;
  if (text == "pairs") return v1::SCORE_KIND_PAIR;
  return absl::InvalidArgumentError("expected suppliers, lanes or pairs");
}

absl::StatusOr<double> ParseChange(const std::string& text) {
  const absl::StatusOr<double> share = ParseShare(text);
  if (share.ok() && *share > 0) return share;
  return absl::InvalidArgumentError("expected a share above 0 such as 5% or 0.05");
}

absl::StatusOr<google::protobuf::Duration> ParseDaysChange(const std::string& text) {
  const absl::StatusOr<double> days = ParseWithin(text);
  if (!days.ok() || *days <= 0) {
    return absl::InvalidArgumentError("expected days above 0 such as 0.5");
  }
  google::protobuf::Duration change;
  change.set_seconds(static_cast<int64_t>(*days * 86400));
  return change;
}

void AddWatch(CLI::App& app, Invocation& to) {
  WatchOptions& options = to.watch;
  CLI::App& sub = AddCommand(app, to, "watch", Verb::kWatch, "Scores that change, as they change");
  AddParsed(sub, "--change", "SHARE", "Tell changes of so much on time or defective, else 5%",
            ParseChange, options.change);
  AddParsed(sub, "--days", "DAYS", "... and of so much until half have arrived, else 1",
            ParseDaysChange, options.delivery);
  AddText(sub, "--of", "KIND", "suppliers (the default), lanes or pairs; repeatable",
          [&options](const std::string& text) {
            options.kinds.push_back(Checked("--of", text, ParseKind(text)));
          })
      ->trigger_on_parse();
  AddParsed(sub, "--after", "FILE", "Go on after what an earlier watch --json printed", ParseText,
            options.after);
}

}  // namespace

void AddCsvStyle(CLI::App& app, Invocation& to) {
  AddParsed(app, "--delimiter", "CHAR", "Between the cells of CSV: , (the default) ; | or tab",
            ParseDelimiter, to.csv.delimiter);
  app.add_flag("--decimal-comma", to.csv.decimal_comma,
               "Figures of CSV as 0,95, and ; between its cells");
}

void AddExport(CLI::App& app, Invocation& to) {
  ExportOptions& options = to.exporting;
  CLI::App* group = app.add_subcommand("export", "All of it as a table, for other tools");
  group->fallthrough()->require_subcommand(1);
  CLI::App& scores =
      AddCommand(*group, to, "scores", Verb::kExportScores, "Scores of suppliers, lanes and pairs");
  scores.add_flag("--average", to.average, "The average of the past instead of the rate now");
  CLI::App& cohorts = AddCommand(*group, to, "cohorts", Verb::kExportCohorts,
                                 "The counts by day that scores are made of");
  CLI::App& events = AddCommand(*group, to, "events", Verb::kExportEvents,
                                "Every event taken, to be sent again elsewhere");
  CLI::App& assignments = AddCommand(*group, to, "assignments", Verb::kExportAssignments,
                                     "Which order was given to whom, and why");
  for (CLI::App* sub : {&scores, &cohorts, &events, &assignments}) {
    AddParsed(*sub, "--format", "FORMAT", "csv (the default), ndjson or json", ParseForm,
              options.form);
    AddParsed(*sub, "-o,--output", "FILE", "Where to, instead of standard output", ParseText,
              options.output);
    AddCsvStyle(*sub, to);
  }
  AddWatch(app, to);
}

std::string CheckExport(const Invocation& invocation) {
  const std::optional<TableForm>& form = invocation.exporting.form;
  if (invocation.json && form && *form != TableForm::kJson) {
    return "--json is --format json: give one of them";
  }
  const bool is_scores = invocation.verb == Verb::kExportScores;
  if ((invocation.as_of || invocation.half_life) && !is_scores) {
    return "--as-of and --half-life go with export scores only";
  }
  return "";
}

std::string CheckCsvStyle(const Invocation& invocation) {
  if (!invocation.csv.any()) return "";
  bool writes_csv = false;
  switch (invocation.verb) {
    case Verb::kReview:
      writes_csv = absl::EndsWithIgnoreCase(invocation.review.output, ".csv") ||
                   !invocation.review.evidence.empty();
      break;
    case Verb::kAssign:
      writes_csv = !invocation.assign.file.empty();
      break;
    default:
      writes_csv = !invocation.json &&
                   invocation.exporting.form.value_or(TableForm::kCsv) == TableForm::kCsv;
  }
  return writes_csv ? "" : "--delimiter and --decimal-comma go with CSV that is written only";
}

}  // namespace plumblane::client
