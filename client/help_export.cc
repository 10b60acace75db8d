#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kCsvNotes =
    R"(CSV is as RFC 4180 has it. Where a spreadsheet expects a decimal comma, say
--decimal-comma. A text that it would run as a formula has ' before it. A file
named by -o is there when it is whole.)";

constexpr Help kHelp[] = {
    {"export",
     R"(  plumblane export scores -o scores.csv
  plumblane export events --format ndjson)",
     "Each tells of one moment, however long it takes."},
    {"export scores",
     R"(  plumblane export scores -o scores.csv
  plumblane export scores --decimal-comma -o scores.csv
  plumblane export scores --format ndjson | jq 'select(.kind == "pair")')",
     R"(One row each for a supplier, a lane and a pair of both with its service. Shares
are 0 to 1, times days; an empty cell is no data, not 0.)",
     kCsvNotes},
    {"export cohorts",
     R"(  plumblane export cohorts -o cohorts.csv
  plumblane export cohorts --format ndjson | jq 'select(.measure == "on_time")')",
     R"(How many orders of a supplier on a lane entered a measure on a day, and what
became of them. Scores follow from these counts alone. Orders that entered and
have no outcome are late (on_time), free of defects, or still open.)",
     kCsvNotes},
    {"export events",
     R"(  plumblane export events -o events.csv
  plumblane export events --format ndjson | gzip > events.ndjson.gz)",
     R"(In the words of event files: sent to a daemon without data, all scores come out
equal. A promise that came from a quote is told as a moment. What is no event is
not among them: excuses, what was agreed, assignments, what was said of alerts;
and how far a feed is complete where send --complete-through has said so. An
order of yours that the feed sends again there is a repeat or, where a quote or a
bare date was read, a conflict; either way it counts once.)",
     kCsvNotes},
    {"export assignments",
     R"(  plumblane export assignments -o assignments.csv
  plumblane export assignments --format json | jq '.assignments[].candidates')",
     R"(By shop and order. --format json has the candidates of each, too.)", kCsvNotes},
    {"watch",
     R"(  plumblane watch
  plumblane watch --of pairs --change 3% --days 0.5
  plumblane watch --json >> changes.ndjson
  plumblane watch --json --after changes.ndjson >> changes.ndjson)",
     R"(A line for each supplier, lane or pair whose score has changed by so much since
it was told last. With --json the first lines tell what each is now.

--after goes on from there: whatever differs from what that file tells last is
told, and what is in no line yet is told first. So nothing that lasts is missed,
however long nobody watched; what went and came back meanwhile is.)"},
};

}  // namespace

std::span<const Help> ExportHelp() { return kHelp; }

}  // namespace plumblane::client
