#include "client/help_text.h"

namespace plumblane::client {
namespace {

constexpr Help kHelp[] = {
    {"review",
     R"(  plumblane review 2026Q3
  plumblane review 2026-07..2026-09 --supplier lotus-works --evidence lotus.csv
  plumblane review 2026Q3 -o 2026Q3.html
  plumblane review 2026Q3 --supplier lotus-works --to-share -o lotus.html)",
     R"(Orders count by their own day, none less for being older: on time and defects by
the promised day, money by the day it was paid, refunds by theirs. Compared with
the period before and a year ago, times with the period before; a difference is
called one only when it is more than chance. Provisional until the last claim
window has closed. With --shop the account is made of its orders alone, but alerts
and targets are those of all shops. A copy to share has an excuse by its kind, not
the reason you gave.

A page tells the 40 suppliers with the most at stake and the 40 busiest lanes in
full; .csv and .json have all.

It tells of past orders and is no legal finding; do not end a contract on it
alone.)"},
};

}  // namespace

std::span<const Help> ReviewHelp() { return kHelp; }

}  // namespace plumblane::client
