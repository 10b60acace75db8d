#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr std::string_view kSendNotes =
    R"(A file is NDJSON (one {...} a line), a JSON list of such, or CSV (its first
line names the columns, in any order). JSON may be CloudEvents 1.0 whose data
has these fields: id, source and time of the envelope are taken where data has
none, the type where it ends in one of the words below. Fields, the same in all;
what is empty is not stated:
  event_id            every event: unique within its source, so that sending it
                      twice changes nothing
  source, shop        whose feed, whose order; else --source, --shop, "default"
  order_id, part      every event; part of a split or repeated order, else 1
  type                paid shipped delivered disputed answered refunded
                      cancelled retracted
  time                2026-03-05T14:00:00+01:00, or a bare date: the start of
                      that day where the order goes
  supplier, origin, destination, service
                      with paid; later events fill gaps
  promise             a time, or a bare date: the end of that day where it goes
  promise_days        instead: whole days after `time`
  item, units, cost, sale, currency, replaces
                      cost to the supplier, sale to the customer, as 13.75
  tracking            with shipped; delivered may name it instead of the order
  reason              with disputed, refunded, cancelled: late not_received
                      damaged quality wrong_item missing_part counterfeit unsafe
                      lost wrong_address refused customs changed_mind
                      out_of_stock other
  refund, by          with refunded: the amount, and supplier or shop
  claim               with disputed: the amount asked for
  retracts            with retracted: the event_id taken back
  revision            when the export that says this was made. Of one source's
                      events for an order that carry it only those of the latest
                      count, so a corrected row replaces what it said before
Anything else is refused: customers' data does not belong here.

Lines that are not taken go to FILE.rejected with their number and the reason;
all others count. After a file with shipped or delivered events its sources
count as complete up to the latest event in it, or up to --complete-through;
what comes through "-" counts as live. With --history the alerts that these
events raise for days before today are listed, but sent nowhere.

When the daemon goes away, this goes on once it is back, at the first line with
no receipt, and says so; after --retry-for seconds without one it gives up.

What is sent together has a number: "plumblane sends" lists them, "plumblane
sends undo N" takes one back. Sending a file again adds only what is new.

--follow looks every second for new files (a directory: those named .csv, .json,
.ndjson or .jsonl) and for lines added to them; a line that is not yet ended
waits. How far it has come is kept in $XDG_STATE_HOME/plumblane, else in
~/.local/state/plumblane, so it goes on there when started again; a file cut
short or replaced is read from its beginning. While the daemon is away it tries
again, at most a minute apart. A file that is followed counts as live; after a
file in a directory its sources count as complete up to its latest event.
With --map each file (of a directory: .csv, .tsv, .txt) is a table that is sent
whole a second after it has stopped changing, and again whenever it has changed.
It ends on Ctrl-C or SIGTERM.)";

constexpr std::string_view kSuppliersNotes =
    R"(--sort: on-time and defect begin with the best, orders (settled) and under-way
with the most; who has no figure comes last.
--risk shows for each supplier its share of the orders and of the money, what
was paid for orders under way, how long it has been silent while they wait, and
what it charged beyond its quotes. It is told as of now.)";

constexpr std::string_view kAverageNotes =
    R"(Rates say what to expect now: recent orders count more, and the ranges allow
for change. With --average they say what the average was: the ranges are
narrower and hold only where nothing has changed. The two do not compare.)";

constexpr std::string_view kScoreNotes =
    R"(--within asks for arrivals, whatever was promised: days from the payment, 0 to
120. "On average 0.4 days later" is over all orders, those in time counting 0;
an order that never comes is taken to come after 120 days.)";

constexpr Help kHelp[] = {
    {"",
     R"(  plumblane send orders.csv             tell it what happened
  plumblane rank --to DE                who gets the next order to Germany?
  plumblane assign 1043 --to DE --item kite-swallow      give it to somebody
  plumblane supplier lotus-works        how does this supplier do?
  plumblane underway --late             which orders are worth chasing?
  plumblane order 1042                  what became of it, how does it count?)",
     R"(Exit codes: 0 done, 1 failed, 2 wrong usage, 3 some input rejected,
4 an alert is active, 5 no supplier can get the order, 6 daemon out of reach.)"},
    {"send",
     R"(  plumblane send orders.csv tracking.ndjson
  plumblane send --complete-through 2026-09-28 mondays.csv
  plumblane send --history orders-of-last-year.csv
  plumblane send --map orders.toml orders.csv    a table: plumblane map --help
  plumblane send --follow /srv/exports       new files, and lines added to them
  tail -F events.ndjson | plumblane send -)",
     kSendNotes},
    {"record",
     R"(  plumblane record 1042 disputed --reason damaged --claim 13.75 --currency EUR
  plumblane record 1042 answered
  plumblane record 1042 delivered --time 2026-03-05 --shop harbour
  plumblane record 1043 paid --supplier lotus-works --lane VN-DE/express \
      --promise-days 10)",
     R"(Fields are those of "plumblane send --help". Without --event-id the id is made
of what is said and when, so the same command with the same --time changes
nothing the second time.)"},
    {"suppliers",
     R"(  plumblane suppliers
  plumblane suppliers --lane VN-DE --min-orders 20 --sort on-time
  plumblane suppliers --tag toys --sort under-way
  plumblane suppliers --risk --days 30       what depends on whom?
  plumblane suppliers --as-of 2026-07-01 --half-life 20
  plumblane suppliers --average)",
     kSuppliersNotes, kAverageNotes},
    {"supplier",
     R"(  plumblane supplier lotus-works
  plumblane supplier lotus-works --within 10 --within 14
  plumblane supplier lotus-works --explain --half-life 20)",
     kScoreNotes, kAverageNotes},
    {"lanes",
     R"(  plumblane lanes
  plumblane lanes --json | jq '.scores[].name')",
     kAverageNotes},
    {"lane",
     R"(  plumblane lane VN-DE               all services together
  plumblane lane VN-DE/express       one service
  plumblane lane VN-DE/-             orders without a service
  plumblane lane VN-DE --within 10   who has it there in 10 days?)",
     kScoreNotes, kAverageNotes},
    {"order",
     R"(  plumblane order 1042
  plumblane order 1042 --shop harbour
  plumblane order harbour/1042)",
     ""},
    {"backtest",
     R"(  plumblane backtest
  plumblane backtest --half-life 20 --half-life 30 --half-life 40
  plumblane backtest --days-ahead 21 --as-of 2026-07-01)",
     R"(Goes through the orders whose promised day is over, day by day, and forecasts
each from what was known --days-ahead days before (10 if not given). The first
--first-days days (30 if not given) are only learnt from. Late orders only:
bad goods are not judged. "Ignoring others" leaves out what other suppliers and
lanes tell. The half-life that scores use is half_life_days under [scores] in
the daemon's settings file.)"},
    {"status", R"(  plumblane status)", ""},
    {"excuse",
     R"(  plumblane excuse add --lane PL-IE --due 2026-08-17..2026-08-23 \
      --reason "dock strike"
  plumblane excuse list)",
     R"(What is forgiven leaves the supplier's score, not the lane's.)"},
    {"excuse add",
     R"(  plumblane excuse add --lane PL-IE --due 2026-08-17..2026-08-23 \
      --reason "dock strike"
  plumblane excuse add --order 2525 --shop meadow --reason "our label was wrong")",
     "Days are UTC days on which orders were due, both ends included."},
    {"excuse load", R"(  plumblane excuse load excuses.csv)",
     "Columns, in any order: lane, first_due, last_due, order_id, shop, part, reason."},
    {"excuse list", R"(  plumblane excuse list)", ""},
    {"excuse withdraw", R"(  plumblane excuse withdraw dock-strike)", ""},
};

// Null for a command that has none.
const Help* HelpFor(std::string_view command) {
  for (const std::span<const Help> all :
       {std::span<const Help>(kHelp), SourcingHelp(), ChaseHelp(), ReviewHelp(), ExportHelp(),
        MapHelp(), SendsHelp(), EraseHelp(), UpkeepHelp()}) {
    for (const Help& help : all) {
      if (help.command == command) return &help;
    }
  }
  return nullptr;
}

}  // namespace

std::string_view ExamplesFor(std::string_view command) {
  const Help* help = HelpFor(command);
  return help == nullptr ? "" : help->examples;
}

std::string NotesFor(std::string_view command) {
  const Help* help = HelpFor(command);
  if (help == nullptr) return "";
  std::string notes(help->notes);
  if (!help->more_notes.empty()) notes.append("\n\n").append(help->more_notes);
  return notes;
}

}  // namespace plumblane::client
