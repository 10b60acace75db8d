#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
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
};

}  // namespace

std::span<const Help> ChaseHelp() { return kHelp; }

}  // namespace plumblane::client
