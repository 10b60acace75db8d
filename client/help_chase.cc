#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"today",
     R"(  plumblane today
  plumblane today --json | jq -r '.underway.orders[].orderId')",
     R"(Active alerts; orders to chase, per supplier; claims to file within two weeks,
unanswered, or owed; quotes that end within two weeks; monthly limits four fifths
used; feeds of deliveries that have said nothing for three days. Told as of now.)"},
    {"underway",
     R"(  plumblane underway --late
  plumblane underway --supplier lotus-works --lane VN-DE
  plumblane underway --late --json | jq -r '.orders[].orderId')",
     R"(Overdue first; then, once costs were loaded, by what a missed promise would cost
times its chance, before that by the chance. Told as of now.)"},
    {"claims",
     R"(  plumblane claims
  plumblane claims --supplier lotus-works --all
  plumblane claims --json | jq -r '.claims[] | [.orderId, .lastDate] | @csv')",
     R"(To file: late, lost or bad, and not yet claimed; the last day is by the terms.
Unanswered: no answer since it was filed. Owed: more was claimed than has come
back. Those whose last day comes first stand first.)"},
    {"alerts",
     R"(  plumblane alerts
  plumblane alerts --all --lane VN-DE
  plumblane alerts acknowledge a-1043 --note "asked the carrier"
  plumblane alerts > /dev/null || echo "look at it")",
     R"(Exit code 4: an alert is active that nobody has acknowledged or shelved; 0: none
is.)"},
    {"alerts acknowledge",
     R"(  plumblane alerts acknowledge a-1043
  plumblane alerts acknowledge a-1043 --note "asked the carrier")",
     "It stays open until its rate is normal again, but no longer calls for anybody."},
    {"alerts shelve",
     R"(  plumblane alerts shelve a-1043 --until 2026-12-01
  plumblane alerts shelve a-1043 --until 2026-12-01 --note "dock strike")",
     "On that day it is active again, unless it has returned to normal."},
    {"alerts accept",
     R"(  plumblane alerts accept a-1043
  plumblane alerts accept a-1043 --note "a slower service, agreed")",
     "It closes, and what is watched for is measured against the new rate."},
    {"alerts watch",
     R"(  plumblane alerts watch
  plumblane alerts watch --after 17 --json)",
     R"(One line for each notice, with --json one document a line; each begins with, or
has, its cursor. It ends when the daemon does: start it again with --after and
the last cursor, and nothing is missed; a notice may come twice.)"},
    {"alerts watches",
     R"(  plumblane alerts watches
  plumblane alerts watches --json | jq '.watches[] | select(.idle)')"},
    {"alerts deliveries",
     R"(  plumblane alerts deliveries
  plumblane alerts deliveries --json | jq '.deliveries[] | select(.state != "STATE_OK")')",
     R"(Handled: the cursor up to which every notice was delivered, or was quiet, given
up, or older than the sink. Where to send is said in the daemon's settings.)"},
};

}  // namespace

std::span<const Help> ChaseHelp() { return kHelp; }

}  // namespace plumblane::client
